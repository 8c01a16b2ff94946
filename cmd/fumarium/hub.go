package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/courier"
	"fumarium/controller/outlook"
	"fumarium/controller/record"
)

// hubKeyEnv is the key of a hub for whoever verifies a record without having joined.
const hubKeyEnv = "FUMARIUM_HUB_KEY"

func hubCommand() *cobra.Command {
	state := ""
	dir := func() (string, error) {
		d, err := stateDir(state)
		return d, couldNot(err)
	}
	c := &cobra.Command{
		Use: "hub", Short: "Say whether a hub has all of this board's record", Args: cobra.NoArgs,
		Long: `A hub (fumarium-hub) keeps the records of many boards. Once this board has joined one, the
daemon brings what it records there, when it can and at the lowest priority. The record here
is the buffer: nothing of it goes away. A hub that is full, slow or gone changes nothing
here, and nothing there can start, stop or change anything on this board.

Exit status: 0 the hub has all of it; 1 not yet, or it keeps something else; 2 usage; 3 no
hub was joined, or none answers.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			d, err := dir()
			if err != nil {
				return err
			}
			return hubStatus(cmd.Context(), d, cmd.OutOrStdout())
		},
	}
	c.PersistentFlags().StringVar(&state, "state", "", "`DIR` of the daemon's state (default: "+stateHint+")")
	fingerprint := ""
	join := &cobra.Command{
		Use: "join ADDRESS CODE", Short: "Let this board join a hub by a code from there", Args: cobra.ExactArgs(2),
		Long: `The code comes from the hub: fumarium-hub code NAME, or its page. It is good for an hour and
for one board, and gives this board a key of its own, which the hub can take away. The daemon
finds it within half a minute. Run this as the user that the daemon has.

The address is https://, unless the hub runs on this machine. Where no authority that this
machine trusts vouches for the hub's certificate, name its fingerprint, which fumarium-hub
certificate printed: then that one certificate is good and no other.`,
		Example: `  fumarium hub join https://hub.example:8380 7KQF-M3XA-9RTE`,
		RunE: func(cmd *cobra.Command, args []string) error {
			d, err := dir()
			if err != nil {
				return err
			}
			if err := os.MkdirAll(d, 0o700); err != nil {
				return couldNot(err)
			}
			h, err := courier.Join(cmd.Context(), args[0], args[1], fingerprint)
			if err == nil {
				err = h.Keep(d)
			}
			if err != nil {
				return couldNot(fmt.Errorf("not joined: %w", err))
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "joined %s as %s (%s)\n", shown(h.URL), shown(h.Cabinet), shown(h.World))
			return couldNot(err)
		},
	}
	join.Flags().StringVar(&fingerprint, "fingerprint", "", "SHA-256 of the hub's certificate, 64 `HEX` digits")
	c.AddCommand(join, &cobra.Command{
		Use: "leave", Short: "Bring nothing to the hub any more", Args: cobra.NoArgs,
		Long: "Forgets the hub and its key. What was brought stays there; fumarium-hub revoke takes the key away there, too.",
		RunE: func(*cobra.Command, []string) error {
			d, err := dir()
			if err != nil {
				return err
			}
			if _, err := courier.Read(d); errors.Is(err, courier.ErrNone) {
				return couldNot(err)
			}
			return couldNot(os.Remove(filepath.Join(d, courier.File)))
		},
	}, &cobra.Command{
		Use: "restore", Short: "Put the batches that the hub keeps into the record of a new board", Args: cobra.NoArgs,
		Long: `After a board or its card is lost: set the new one up, let it join with a code for the same
cabinet (fumarium-hub code NAME --again), and run this before its daemon, as the daemon's user.
Every chain is verified on the way and on disk; it takes all, or nothing.

A batch that was under way is ended as aborted, so that nothing goes on with it. What tripped
and was latched on the old board is not known here: look at the cabinet before it heats again.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			d, err := dir()
			if err != nil {
				return err
			}
			return couldNot(restore(cmd.Context(), d, cmd.OutOrStdout()))
		},
	})
	return c
}

// bring starts what brings a record to the hub that the board of a state folder joins, beside
// everything else, until ctx ends.
func bring(ctx context.Context, dir, file string, world record.World, finish func() *outlook.Finish, log *slog.Logger) (ended <-chan struct{}) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		(&courier.Courier{Dir: dir, File: file, World: world, Finish: finish, Log: log}).Run(ctx)
	}()
	return done
}

// openOf opens the record that a board brings to its hub.
func openOf(dir string, h *courier.Hub) (*record.Reader, error) {
	return record.OpenReader(filepath.Join(dir, record.World(h.World).File()))
}

func hubStatus(ctx context.Context, dir string, w io.Writer) error {
	h, err := courier.Read(dir)
	if err != nil {
		return couldNot(err)
	}
	kept, err := h.Heads(ctx)
	if err != nil {
		return couldNot(err)
	}
	r, err := openOf(dir, h)
	if err != nil {
		return couldNot(err)
	}
	defer r.Close()
	fmt.Fprintf(w, "hub      %s, as %s\n", shown(h.URL), shown(h.Cabinet))
	return heldAgainst(ctx, r, kept, false, w)
}

// heldAgainst holds a record against the heads that a hub keeps of it. part says that it is an
// export, in which batches may be missing.
func heldAgainst(ctx context.Context, r *record.Reader, kept []record.Head, part bool, w io.Writer) error {
	mine, err := r.Heads(ctx)
	if err != nil {
		return couldNot(err)
	}
	has := map[string]record.Head{}
	for _, h := range mine {
		has[h.Batch] = h
	}
	bad, waiting := 0, int64(0)
	known := map[string]bool{}
	for _, k := range kept {
		known[k.Batch] = true
		h, found := has[k.Batch]
		if !found && part {
			continue
		}
		text, err := differs(ctx, r, h, k, found)
		if err != nil {
			return couldNot(err)
		}
		if text != "" {
			bad++
			fmt.Fprintf(w, "%s  NOT AS THE HUB KEEPS IT: %s\n", shown(k.Batch), shown(text))
			continue
		}
		if waiting += h.Links - k.Links; h.Links > k.Links {
			fmt.Fprintf(w, "%s  as the hub keeps it, which lacks the last %d links\n", shown(k.Batch), h.Links-k.Links)
		} else {
			fmt.Fprintf(w, "%s  as the hub keeps it, %d links, head %s\n", shown(k.Batch), k.Links-1, k.Hash)
		}
	}
	for _, h := range mine {
		if !known[h.Batch] {
			waiting += h.Links
			fmt.Fprintf(w, "%s  not at the hub\n", shown(h.Batch))
		}
	}
	fmt.Fprintf(w, "%d batches differ, %d links are not at the hub yet\n", bad, waiting)
	if bad > 0 || waiting > 0 {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// differs says in what a batch is not what the hub keeps of it. The chain is computed anew
// for it: a hash that stands in a row proves nothing of the rows before.
func differs(ctx context.Context, r *record.Reader, h, kept record.Head, found bool) (string, error) {
	switch {
	case !found:
		return fmt.Sprintf("it is not in this record; %d links of it are kept", kept.Links-1), nil
	case h.Links < kept.Links:
		return fmt.Sprintf("links were cut off at its end: it has %d, and %d are kept", h.Links-1, kept.Links-1), nil
	}
	v, err := r.Verify(ctx, h.Batch)
	if err != nil {
		return "", err
	}
	if !v.Whole {
		return v.String(), nil
	}
	hash, _, err := r.HashOf(ctx, h.Batch, kept.Links-1)
	if err == nil && hash != kept.Hash {
		return fmt.Sprintf("it was written anew: link %d has the hash %s, and %s is kept", kept.Links-1, hash, kept.Hash), nil
	}
	return "", err
}

// verifyAgainst is batches --verify-against.
func verifyAgainst(ctx context.Context, a *archive, address string, w io.Writer) error {
	h := &courier.Hub{URL: address, Key: os.Getenv(hubKeyEnv)}
	dir, err := stateDir(a.state)
	if err != nil {
		return couldNot(err)
	}
	joined, err := courier.Read(dir)
	switch {
	case err == nil && (joined.URL == address || address == courier.Joined):
		h = joined
	case h.Key != "" && address != courier.Joined:
	case err != nil:
		return couldNot(err)
	default:
		return usage("--verify-against %s: this board has joined %s; name that one, or give a key of the other in $%s", address, joined.URL, hubKeyEnv)
	}
	kept, err := h.Heads(ctx)
	if err != nil {
		return couldNot(err)
	}
	if h.World == string(record.Simulated) {
		a.simulated = true
	}
	r, err := a.open()
	if err != nil {
		return err
	}
	defer r.Close()
	return heldAgainst(ctx, r, kept, a.from != "", w)
}

// restore puts the batches of the hub into the record of this board.
func restore(ctx context.Context, dir string, w io.Writer) error {
	h, err := courier.Read(dir)
	if err != nil {
		return err
	}
	heads, err := h.Heads(ctx)
	if err != nil {
		return err
	}
	if len(heads) == 0 {
		return errors.New("the hub keeps no batch of this cabinet; there is nothing to put back")
	}
	part, err := os.MkdirTemp(dir, "restore-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(part)
	file := filepath.Join(part, "hub.db")
	done, err := record.Rebuild(ctx, file, h.Links(ctx, heads), time.Now(), "its board was lost while it was under way; put back from the hub")
	if err != nil {
		return fmt.Errorf("nothing was put back: %w", err)
	}
	if _, err := record.Import(ctx, dir, record.World(h.World), []string{file}); err != nil {
		return fmt.Errorf("nothing was put back: %w", err)
	}
	for i, d := range done {
		note := ""
		if d.Links+1 > heads[i].Links {
			note = "; it was under way and is ended as aborted"
		}
		fmt.Fprintf(w, "%s  whole, %d links, head %s%s\n", shown(d.ID), d.Links, d.Head, note)
	}
	_, err = fmt.Fprintf(w, "%d batches put back. What tripped and was latched on the old board is not known: look at the cabinet before it heats.\n", len(done))
	return err
}
