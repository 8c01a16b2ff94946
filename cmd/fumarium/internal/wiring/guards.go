package wiring

import (
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
)

// What watches over the program itself: the kernel, which ends a service that takes
// too much memory, and the board, which restarts a machine that hangs. Where the
// kernel shows them: its Documentation/admin-guide/cgroup-v2 and
// Documentation/ABI/testing/sysfs-class-watchdog (both from memory).
const (
	groups    = "sys/fs/cgroup/"
	ourGroup  = groups + "system.slice/fumarium.service/memory.max"
	rowGroups = groups + "system.slice/system-fumarium.slice/*/memory.max" // of fumarium@NAME
	watchdogs = "sys/class/watchdog"
)

const (
	noMemoryGroup = "the kernel cannot limit the memory of a service, so MemoryMax= of the unit does nothing; take cgroup_disable=memory off the kernel's " +
		"command line, or on a Raspberry Pi, whose firmware adds it, append cgroup_enable=memory to the line of /boot/firmware/cmdline.txt (from memory, not tried); then restart"
	noLimit = "the service runs without a limit, so a leak would take the whole machine down; put MemoryMax= of the shipped unit back, " +
		"then systemctl daemon-reload and restart it when no batch runs"
	noWatchdog = "this board shows none, so a kernel that hangs keeps the heater as it is; enable its driver " +
		"(on a Raspberry Pi take dtparam=watchdog=off out of config.txt; from memory, not tried), then restart"
	asleep = "nothing feeds it, so a kernel or service manager that hangs keeps the heater as it is; write RuntimeWatchdogSec=14 below [Manager] " +
		"into /etc/systemd/system.conf.d/watchdog.conf and restart (systemd-system.conf(5); that a Raspberry Pi waits for 15 s at most is from memory)"
	inSoftware = "a watchdog in software hangs with the kernel that it should watch; enable that of the board"
)

// guards are what is there of them; root is the machine's file system.
func guards(root fs.FS) []Find {
	return []Find{memoryLimit(root), boardWatchdog(root)}
}

func read(root fs.FS, name string) string {
	data, err := fs.ReadFile(root, name)
	if err != nil {
		return "" // what cannot be read has not been shown
	}
	return strings.TrimSpace(string(data))
}

func memoryLimit(root fs.FS) Find {
	f := Find{What: "memory limit"}
	_, old := fs.Stat(root, groups+"memory") // the hierarchies of version 1
	if old != nil && !slices.Contains(strings.Fields(read(root, groups+"cgroup.controllers")), "memory") {
		f.Note = noMemoryGroup
		return f
	}
	limit := read(root, ourGroup)
	row, _ := fs.Glob(root, rowGroups)
	for _, name := range row { // the worst of several cabinets
		if is := read(root, name); limit == "" || is == "max" {
			limit = is
		}
	}
	if limit == "max" {
		f.Note = noLimit
		return f
	}
	f.Good, f.Note = true, "the kernel can limit the memory of a service"
	if n, err := strconv.ParseInt(limit, 10, 64); err == nil {
		f.Note = fmt.Sprintf("the running service may take %d MiB", n>>20)
	}
	return f
}

func boardWatchdog(root fs.FS) Find {
	f := Find{What: "board watchdog", Note: noWatchdog}
	found, _ := fs.ReadDir(root, watchdogs) // none where it cannot be read
	for _, entry := range found {
		dir := watchdogs + "/" + entry.Name() + "/"
		identity, state := read(root, dir+"identity"), read(root, dir+"state")
		switch {
		case identity == "Software Watchdog":
			if f.Note == noWatchdog {
				f.Note = inSoftware
			}
		case state == "active":
			return Find{f.What, true, fmt.Sprintf("%s restarts a machine that hangs for %s s", identity, read(root, dir+"timeout"))}
		case state == "":
			f.Note = fmt.Sprintf("%s does not show whether it is fed; look at systemctl show -p RuntimeWatchdogUSec, which should say 14s", entry.Name())
		default:
			f.Note = fmt.Sprintf("%s: %s", identity, asleep)
		}
	}
	return f
}
