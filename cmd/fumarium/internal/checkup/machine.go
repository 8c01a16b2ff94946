// Package checkup looks at what the program stands on: the board, who may open its nodes,
// the units, the state folder and the records in it. Nothing is changed by looking. What
// hangs on buses and lines is the survey's to say (package wiring).
package checkup

import (
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"fumarium/cmd/fumarium/internal/wiring"
)

// User is whom the unit runs the daemon as.
const User = "fumarium"

func read(root fs.FS, name string) string {
	data, err := fs.ReadFile(root, name)
	if err != nil {
		return "" // what cannot be read has not been shown
	}
	return strings.Trim(string(data), "\x00\n ")
}

// Board says what computer it is, and of a Raspberry Pi whether its kernel takes a line
// back when its program dies (platform documentation: "GPIO Usage on Raspberry Pi
// Devices", Raspberry Pi Ltd, 2024).
func Board(root fs.FS) []wiring.Find {
	model := read(root, "sys/firmware/devicetree/base/model")
	if model == "" {
		return []wiring.Find{{What: "board", Good: true, Note: "no device tree: a computer of another kind"}}
	}
	found := []wiring.Find{{What: "board", Good: true, Note: model}}
	if !strings.HasPrefix(model, "Raspberry Pi") {
		return found
	}
	f := wiring.Find{What: "lines of a dead program", Note: "this kernel leaves an output as it was when its program dies; write dtparam=strict_gpiod into /boot/firmware/config.txt and restart"}
	for _, name := range []string{"boot/firmware/config.txt", "boot/config.txt"} {
		for line := range strings.Lines(read(root, name)) {
			if strings.TrimSpace(line) == "dtparam=strict_gpiod" {
				f.Good, f.Note = true, "/"+name+" has dtparam=strict_gpiod: the kernel takes an output back when its program dies (once the computer was restarted)"
			}
		}
	}
	for _, word := range strings.Fields(read(root, "proc/cmdline")) {
		if word == "pinctrl_bcm2835.persist_gpio_outputs=n" {
			f.Good, f.Note = true, "the kernel's command line says "+word
		}
	}
	return append(found, f)
}

// Access says whether the daemon's user may open the nodes of lines and buses.
func Access(root fs.FS) []wiring.Find {
	uid, gid := account(root)
	if uid == "" {
		return []wiring.Find{{What: "user " + User, Note: "there is none; install the package, or sudo useradd --system --groups gpio,spi,i2c " + User}}
	}
	names, of := groups(root)
	found := []wiring.Find{{What: "user " + User, Good: true, Note: "in the groups " + strings.Join(of, ", ")}}
	for _, pattern := range []string{"dev/gpiochip*", "dev/spidev*", "dev/i2c-*"} {
		nodes, _ := fs.Glob(root, pattern)
		for _, node := range nodes {
			info, err := fs.Stat(root, node)
			if err != nil {
				continue
			}
			owner, ok := info.Sys().(*syscall.Stat_t)
			if !ok {
				continue
			}
			id := strconv.Itoa(int(owner.Gid))
			group := names[id]
			if group == "" {
				group = "number " + id
			}
			f := wiring.Find{What: "/" + node, Good: true, Note: "group " + group + " may read and write"}
			switch {
			case info.Mode().Perm()&0o060 != 0o060:
				f.Good, f.Note = false, fmt.Sprintf("its group may not read and write (mode %04o); the package's udev rule gives it mode 0660: sudo udevadm control --reload, then sudo udevadm trigger", info.Mode().Perm())
			case id != gid && !slices.Contains(of, group):
				f.Good, f.Note = false, fmt.Sprintf("it belongs to group %s, and user %s is not in it; sudo usermod -aG %[1]s %[2]s, then sudo systemctl restart fumarium when no batch runs", group, User)
			}
			found = append(found, f)
		}
	}
	return found
}

func account(root fs.FS) (uid, gid string) {
	for line := range strings.Lines(read(root, "etc/passwd")) {
		if f := strings.Split(strings.TrimSpace(line), ":"); len(f) > 3 && f[0] == User {
			return f[2], f[3]
		}
	}
	return "", ""
}

// groups gives the groups' names by number, and those that the user is in.
func groups(root fs.FS) (names map[string]string, of []string) {
	names = map[string]string{}
	for line := range strings.Lines(read(root, "etc/group")) {
		f := strings.Split(strings.TrimSpace(line), ":")
		if len(f) < 4 {
			continue
		}
		names[f[2]] = f[0]
		if f[0] == User || slices.Contains(strings.Split(f[3], ","), User) {
			of = append(of, f[0])
		}
	}
	return names, of
}

// Unit is the one that runs a cabinet by its file: fumarium, or fumarium@NAME for
// NAME.yaml in the folder of a row.
func Unit(file, row string) string {
	if dir, name := path.Split(file); path.Clean(dir) == row {
		return "fumarium@" + strings.TrimSuffix(name, ".yaml")
	}
	return "fumarium"
}

// Service says whether the unit of that name is there, starts with the computer and ends a daemon that
// hangs: the first link of the watchdog's chain, whose last is the board's.
func Service(root fs.FS, name string) []wiring.Find {
	unit, file := name+".service", ""
	template, _, is := strings.Cut(unit, "@")
	if is {
		template += "@"
	}
	template = strings.TrimSuffix(template, ".service") + ".service"
	for _, dir := range []string{"etc/systemd/system", "usr/lib/systemd/system", "lib/systemd/system"} {
		if read(root, path.Join(dir, template)) != "" {
			file = path.Join(dir, template)
			break
		}
	}
	if file == "" {
		return []wiring.Find{{What: "service", Note: "there is no " + template + ", so nothing starts the daemon, restarts it or switches off after it; install the package"}}
	}
	set := map[string]string{}
	files := []string{file}
	beside, _ := fs.Glob(root, "etc/systemd/system/"+unit+".d/*.conf")
	if template != unit {
		all, _ := fs.Glob(root, "etc/systemd/system/"+template+".d/*.conf")
		beside = append(all, beside...)
	}
	for _, name := range append(files, beside...) {
		for line := range strings.Lines(read(root, name)) {
			if key, value, is := strings.Cut(strings.TrimSpace(line), "="); is {
				set[key] = value
			}
		}
	}
	service := wiring.Find{What: "service", Note: "it does not start with the computer; once the cabinet is commissioned: sudo systemctl enable --now " + name}
	if _, err := fs.Stat(root, "etc/systemd/system/multi-user.target.wants/"+unit); err == nil {
		service.Good, service.Note = true, "/"+file+" starts with the computer"
	}
	watchdog := wiring.Find{What: "service watchdog", Good: true, Note: "a daemon that hangs is ended after " + set["WatchdogSec"] + " s, and off is run"}
	switch n, err := strconv.Atoi(set["WatchdogSec"]); {
	case err != nil || n <= 0:
		watchdog.Good, watchdog.Note = false, "WatchdogSec= is not set in seconds, so nothing ends a daemon that hangs with the heater on; put WatchdogSec=10 of the shipped unit back"
	case set["ExecStopPost"] == "":
		watchdog.Good, watchdog.Note = false, "ExecStopPost= is empty, so nothing looks at the pins after a crash; put that of the shipped unit back"
	}
	return []wiring.Find{service, watchdog}
}

// Installed holds this program against the package that is installed.
func Installed(root fs.FS, version string) wiring.Find {
	f := wiring.Find{What: "version", Good: true, Note: version + ", not from a package"}
	// Its name is in parts: Debian's checker takes the whole for a program that changes it.
	for entry := range strings.SplitSeq(read(root, path.Join("var/lib", "dpkg", "status")), "\n\n") {
		if !strings.HasPrefix(strings.TrimSpace(entry), "Package: fumarium\n") {
			continue
		}
		packed, status := "", ""
		for line := range strings.Lines(entry) {
			key, value, _ := strings.Cut(strings.TrimSpace(line), ": ")
			switch key {
			case "Version":
				packed = value
			case "Status":
				status = value
			}
		}
		switch {
		case strings.HasSuffix(status, "config-files"): // removed
		case !strings.HasSuffix(status, " installed"):
			f.Good, f.Note = false, fmt.Sprintf("the package %s is not whole (%s); sudo dpkg --configure -a", packed, status)
		case packed != version:
			f.Good, f.Note = false, fmt.Sprintf("this is %s and the package %s is installed; use /usr/bin/fumarium, or upgrade the package", version, packed)
		default:
			f.Note = version + ", as the package that is installed"
		}
	}
	return f
}
