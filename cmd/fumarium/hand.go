package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/album"
	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/report/recorded"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/portion"
	"fumarium/profile/weighed"
)

// hand implements web.Hand over the record and the state folder.
type hand struct {
	*facts
	dir  string
	find func(string) (catalog.Entry, error)
}

func (h *hand) batch(ctx context.Context, id string) (*record.Batch, error) {
	b, err := h.records.Batch(ctx, id)
	if errors.Is(err, record.ErrNoBatch) || err == nil && b.ID != id {
		return nil, web.ErrNoBatch
	}
	return b, err
}

// Facts implements web.Hand.
func (h *hand) Facts(ctx context.Context, id string) (*web.Facts, error) {
	b, err := h.batch(ctx, id)
	if err != nil {
		return nil, err
	}
	p, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		return nil, err
	}
	entries, err := h.records.Entries(ctx, b.ID)
	if err != nil {
		return nil, err
	}
	f := factsFrom(b.ID, p.Name, h.tally(b, p, entries))
	for _, e := range entries {
		if e.Kind == record.Rated {
			f.Marks = slices.DeleteFunc(f.Marks, func(m web.FactMark) bool { return m.Trait == e.Subject })
			f.Marks = append(f.Marks, web.FactMark{Trait: e.Subject, Mark: e.Value, Text: e.Text})
		}
	}
	for _, p := range photosOf(entries, h.dir, b.ID) {
		f.Photos = append(f.Photos, web.Photo{Name: p.Name, SHA256: p.SHA256, Text: p.Text, Who: p.Who, State: p.State, Whole: p.Data != nil})
	}
	return f, nil
}

func factsFrom(batch, product string, t *weighed.Tally) *web.Facts {
	f := &web.Facts{
		Batch: batch, Product: product, Sheet: t, Yields: append([]weighed.Yield{}, t.Yields()...), Heavier: append([]string{}, t.Heavier()...), Remedy: cureRemedy,
		Traits: strings.Split(usualTraits, ", "), Marks: []web.FactMark{}, Photos: []web.Photo{},
	}
	_, f.Bad = t.Bad()
	return f
}

// Sheet implements web.Hand.
func (h *hand) Sheet(product, meat, form string) (*web.Facts, error) {
	found, err := h.find(product)
	if err != nil {
		return nil, err
	}
	p := found.Value
	if meat != "" {
		mass, err := portion.ParseMeat(meat)
		if err != nil {
			return nil, fmt.Errorf("meat %q: %w; write it like 4.2 kg or 11 lb 4 oz", meat, err)
		}
		if p, _, err = portion.File(found.File, found.Data, mass); err != nil {
			return nil, err
		}
	}
	var entries []weighed.Entry
	if form != "" {
		if entries, err = weighed.ReadForm("form", []byte(form), p); err != nil {
			return nil, err
		}
	}
	t := weighed.Of(p, p.Where(h.place), entries)
	return factsFrom("", p.Name, &t), nil
}

// AddPhoto implements web.Hand: first on disk, then on the record.
func (h *hand) AddPhoto(ctx context.Context, who, id, text string, data []byte) (web.Kept, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	b, err := h.batch(ctx, id)
	if err != nil {
		return web.Kept{}, err
	}
	a := album.Of(h.dir, b.ID)
	file, sum, err := a.Add(data)
	if err != nil {
		return web.Kept{}, err
	}
	e := record.Entry{Who: who, Kind: record.Photographed, Subject: file, Value: float64(len(data)), HasValue: true, Text: strings.TrimSpace(sum + " " + text)}
	if err := h.records.AddEntries(ctx, moment(h.now()), b.ID, []record.Entry{e}); err != nil {
		return web.Kept{}, errors.Join(err, a.Drop(file))
	}
	return web.Kept{Told: []string{fmt.Sprintf("photograph %s, %d bytes, SHA-256 %s", file, len(data), sum)}}, nil
}

// Photo implements web.Hand.
func (h *hand) Photo(ctx context.Context, id, name string) ([]byte, string, error) {
	b, err := h.batch(ctx, id)
	if err != nil {
		return nil, "", err
	}
	entries, err := h.records.Entries(ctx, b.ID)
	if err != nil {
		return nil, "", err
	}
	for _, p := range photosOf(entries, h.dir, b.ID) {
		if p.Name == name && p.Data != nil {
			return p.Data, p.Type, nil
		}
	}
	return nil, "", errors.New("there is no such photograph, or it is not as it was taken in; see the facts of the batch")
}

// photosOf are the photographs of a batch by its record, each held against its hash.
func photosOf(entries []record.Entry, state, batch string) (list []report.Photo) {
	for _, e := range entries {
		if e.Kind != record.Photographed {
			continue
		}
		p := recorded.Photo(&e)
		look(&p, state, batch)
		list = append(list, p)
	}
	return list
}

// look reads the file of a photograph.
func look(p *report.Photo, state, batch string) {
	p.Type = album.Type(p.Name)
	p.Data, p.State = album.Of(state, batch).Read(p.Name, p.SHA256)
}

func photoCommand() *cobra.Command {
	var c client
	batch, text := "", ""
	cmd := c.flags(&cobra.Command{
		Use: "photo FILE", Short: "Keep a photograph with a batch: its file beside the record, its hash on it",
		Long: `Sends a JPEG or PNG of at most 4 MiB to the daemon, which keeps it in the folder "` + album.Folder + `" of
its state, and its SHA-256 on the record of the batch. The report shows it, or says that it is
missing or was changed since; the first 12 MiB of a batch stand in it as they are. The page of
a batch takes photographs, too, and makes them smaller first. fumarium export does not hold them: copy that folder, too.`,
		Example: `  fumarium photo slice.jpg --text "cut after a night in the cold"
  fumarium photo slice.jpg --batch 2026-11-28-1`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			data, err := os.ReadFile(args[0])
			if err != nil {
				return couldNot(err)
			}
			if batch == "" {
				s, err := c.status(cmd.Context())
				if err != nil {
					return err
				}
				if s.Batch == nil {
					return usage("there is no batch; name one with --batch")
				}
				batch = *s.Batch
			}
			kind := http.DetectContentType(data)
			answer, err := c.callWith(cmd.Context(), http.MethodPost, "/api/batches/"+url.PathEscape(batch)+"/photos?text="+url.QueryEscape(text), kind, data)
			if err != nil {
				return err
			}
			return c.accepted(cmd.OutOrStdout(), "photo", answer)
		},
	})
	cmd.Flags().StringVar(&batch, "batch", "", "`BATCH` by its whole name (default: the one under way, or the last)")
	cmd.Flags().StringVar(&text, "text", "", "`WORDS` to it")
	return cmd
}
