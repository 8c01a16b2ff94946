package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/bootclock"
	"fumarium/cmd/fumarium/internal/checkup"
	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/cabinet"
)

// Where the package and its unit have what is theirs.
const (
	installedCabinet = "/etc/fumarium/cabinet.yaml"
	installedState   = "/var/lib/fumarium"
)

type doctorOptions struct {
	cabinet, state, server string
	asJSON                 bool
}

func doctorCommand() *cobra.Command {
	var o doctorOptions
	c := &cobra.Command{
		Use:   "doctor [--cabinet FILE] [--state DIR]",
		Short: "Look over everything that the daemon stands on, and say what to mend",
		Long: `Looks at the board, who may open its nodes, the buses and lines that the cabinet
names and whether another cabinet of the board has one, the clock and whether anything sets it, the watchdogs, the memory group, the
card and the state folder, the record of every batch, how the program ended last, and
whether program, package and daemon are of one version. What is not as it must be has
its remedy behind it. Nothing is changed and nothing is switched.

Run it as root on an installed board: without flags it looks at ` + installedCabinet + `
and ` + installedState + `. It sees no mains wiring, no cut-out and no flue; those are for
someone qualified, under local code.

Exit status: 0 nothing to mend, 1 something to mend, 2 usage, 3 could not look (such as
a cabinet file that cannot be read).`,
		Example: `  sudo fumarium doctor
  fumarium doctor --cabinet plywood-cabinet --state ~/.local/state/fumarium`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return newBench(cmd).doctor(cmd.Context(), o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.cabinet, "cabinet", installedCabinet, "cabinet `FILE`, or the name of a shipped cabinet")
	f.StringVar(&o.state, "state", installedState, "`DIR` in which the daemon keeps its state")
	f.StringVar(&o.server, "server", "http://"+defaultListen, "`URL` of the daemon")
	f.BoolVar(&o.asJSON, "json", false, "print JSON")
	return c
}

func (b *bench) doctor(ctx context.Context, o doctorOptions) error {
	c, err := findCabinet(o.cabinet)
	if err != nil {
		return err
	}
	runs := daemonAt(ctx, o.server)
	found := []wiring.Find{checkup.Installed(b.survey.Root, version()), runs.find(o.server)}
	found = append(found, checkup.Service(b.survey.Root, checkup.Unit(o.cabinet, installedRow))...)
	found = append(found, checkup.Board(b.survey.Root)...)
	if c.Simulated() {
		found = append(found, wiring.Find{What: "cabinet", Good: true, Note: c.Name + " exists only in rehearsal: nothing hangs on this machine"})
	} else {
		found = append(found, checkup.Access(b.survey.Root)...)
		found = append(found, b.survey.Look(c)...)
	}
	found = append(found, b.cabinetFind(c, o.cabinet), apartFind(c, o.cabinet, besides{installedRow, installedCabinet}), clockFind(here.clock.Synced()))
	found = append(found, wearFind(o.state, c)...)
	found = append(found, driftFind(ctx, o.state, c)...)
	found = append(found, checkup.Folder(o.state, checkup.RoomOf)...)
	found = append(found, checkup.Records(ctx, o.state, runs.answers)...)
	found = append(found, upkeepFinds(ctx, o.state, c, time.Now())...)
	if o.asJSON {
		if err := printJSON(b.out, map[string]any{"machine": found, "good": wiring.Missing(found) == nil}); err != nil {
			return couldNot(err)
		}
	} else {
		b.printFinds(found, "MEND")
	}
	if wiring.Missing(found) != nil {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// cabinetFind says whether the file has a fault, in the words of check.
func (b *bench) cabinetFind(c *cabinet.Cabinet, name string) wiring.Find {
	errors := 0
	for _, f := range cabinet.Lint(c, name) {
		if f.Severity.String() == "error" {
			errors++
		}
	}
	if errors > 0 {
		return wiring.Find{What: "cabinet file", Note: fmt.Sprintf("%s has %d errors; fumarium check %[1]s says which and what to do", name, errors)}
	}
	return wiring.Find{What: "cabinet file", Good: true, Note: name + " can be used"}
}

// apartFind says whether another cabinet of this board has what this one has.
func apartFind(c *cabinet.Cabinet, name string, others besides) wiring.Find {
	all, unread := others.others(name)
	found := disputes(name, c, all)
	switch {
	case len(found) > 0:
		return wiring.Find{What: "other cabinets", Note: found.Error()}
	case len(unread) > 0:
		return wiring.Find{What: "other cabinets", Note: strings.Join(unread, "; ")}
	}
	return wiring.Find{What: "other cabinets", Good: true, Note: fmt.Sprintf("%d of this board, none claims what this one has", len(all))}
}

func clockFind(marked bool) wiring.Find {
	return clockFindOf(marked, bootclock.Disciplined)
}

func clockFindOf(marked bool, disciplined func() (bool, error)) wiring.Find {
	f := wiring.Find{What: "clock", Note: "the clock is not synchronised: after a power cut a person is asked how long it was; let systemd-timesyncd or chrony set it, from a network or a receiver"}
	is, err := disciplined()
	switch {
	case err != nil:
		f.Note = err.Error()
	case is && marked:
		f.Good, f.Note = true, "synchronised, and the daemon knows"
	case is:
		f.Note = "it is synchronised, and nothing has told the daemon so; sudo systemctl start fumarium-clock"
	case marked:
		f.Good, f.Note = true, "it was synchronised since the computer was started"
	}
	return f
}

// daemonNow is what answers at an address.
type daemonNow struct {
	answers bool
	version string
	why     string
}

var builtAs = regexp.MustCompile(`fumarium_build_info\{[^}]*\bversion="([^"]*)"`)

// daemonAt asks for the metrics, which anyone may read.
func daemonAt(ctx context.Context, server string) (d daemonNow) {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimRight(server, "/")+"/metrics", nil)
	if err != nil {
		return daemonNow{why: err.Error()}
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return daemonNow{why: err.Error()}
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(io.LimitReader(resp.Body, 1<<20))
	at := builtAs.FindSubmatch(text)
	if err != nil || at == nil {
		return daemonNow{why: "what answers there is no fumarium"}
	}
	return daemonNow{answers: true, version: string(at[1])}
}

func (d daemonNow) find(server string) wiring.Find {
	f := wiring.Find{What: "daemon", Good: true, Note: server + " answers, of this version"}
	switch {
	case !d.answers:
		f.Good, f.Note = false, d.why+"; start it with sudo systemctl start fumarium, or see why it ended with systemctl status fumarium"
	case d.version != version():
		f.Good, f.Note = false, fmt.Sprintf("the daemon that runs is %s and this is %s; sudo systemctl restart fumarium when no batch heats", d.version, version())
	}
	return f
}
