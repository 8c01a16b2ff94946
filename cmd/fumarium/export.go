package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"fumarium/controller/record"
)

func exportCommand() *cobra.Command {
	var a archive
	return a.flags(&cobra.Command{
		Use: "export FILE [BATCH...]", Short: "Copy recorded batches into one file, verified on the way", Args: cobra.MinimumNArgs(1),
		Long: `Writes batches that are over, all of them or those named, into a new file. Each chain of
hashes is verified before and after; a batch whose chain does not hold is refused, and one
that is under way, too. fumarium import takes the file, and batches, report, compare, trace,
label and replay look into it with --from.

The daemon may run meanwhile. With --copies FOLDER it keeps such a file of each batch itself.`,
		Example: `  fumarium export /media/stick/2026.db
  fumarium export ring.db 2026-11-28-1`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			return runExport(cmd.Context(), r, args[0], args[1:], a.json, cmd.OutOrStdout())
		},
	})
}

func runExport(ctx context.Context, r *record.Reader, file string, ids []string, asJSON bool, w io.Writer) error {
	var open []string
	if len(ids) == 0 {
		batches, err := r.List(ctx)
		if err != nil {
			return couldNot(err)
		}
		for i := len(batches) - 1; i >= 0; i-- {
			if batches[i].State == "" {
				open = append(open, batches[i].ID)
			} else {
				ids = append(ids, batches[i].ID)
			}
		}
		if len(ids) == 0 {
			return couldNot(errors.New("no batch on this record is over; there is nothing to export"))
		}
	}
	done, err := r.Extract(ctx, file, ids)
	if err != nil {
		return couldNot(err)
	}
	if asJSON {
		list := []map[string]any{}
		for _, d := range done {
			list = append(list, map[string]any{"batch": d.ID, "links": d.Links, "head": d.Head.String()})
		}
		return couldNot(printJSON(w, map[string]any{"file": file, "batches": list, "under_way": open}))
	}
	for _, d := range done {
		fmt.Fprintf(w, "%s  whole, %d links, head %s\n", shown(d.ID), d.Links, d.Head)
	}
	for _, id := range open {
		fmt.Fprintf(w, "%s  left out: it is not over\n", shown(id))
	}
	_, err = fmt.Fprintf(w, "%d batches in %s\n", len(done), shown(file))
	return couldNot(err)
}

func importCommand() *cobra.Command {
	var a archive
	c := a.flags(&cobra.Command{
		Use: "import FILE...", Short: "Put exported batches into the record, all or none, verified", Args: cobra.MinimumNArgs(1),
		Long: `Takes the batches of exports into the record of the state folder, such as after a card has
died. Every file is read to its end and every chain verified before anything is written, and
the record after; a torn file, one that was changed, or a batch that would take the place of
another is refused, and nothing is taken then. What is there already stays.

No daemon may run in that folder; run this as the user that the daemon has. The numbers of batches are part of their chains: batches
of another cabinet do not fit in; look at them with --from FILE instead.`,
		Example: `  fumarium import /media/stick/2026.db
  fumarium import /media/stick/copies/*.db --state /var/lib/fumarium`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if a.from != "" {
				return usage("import takes the files as its arguments, not --from")
			}
			dir, err := stateDir(a.state)
			if err != nil {
				return couldNot(err)
			}
			if err := os.MkdirAll(dir, 0o700); err != nil {
				return couldNot(err)
			}
			world := record.Real
			if a.simulated {
				world = record.Simulated
			}
			done, err := record.Import(cmd.Context(), dir, world, args)
			if err != nil {
				return couldNot(fmt.Errorf("nothing was imported: %w", err))
			}
			w := cmd.OutOrStdout()
			if a.json {
				list := []map[string]any{}
				for _, d := range done {
					list = append(list, map[string]any{"batch": d.ID, "file": d.File, "new": !d.Had})
				}
				return couldNot(printJSON(w, list))
			}
			for _, d := range done {
				word := "imported"
				if d.Had {
					word = "was there"
				}
				fmt.Fprintf(w, "%s  %s\n", shown(d.ID), word)
			}
			return nil
		},
	})
	return c
}
