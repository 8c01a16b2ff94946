package main

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"os"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/panel"
	"fumarium/controller/snapshot"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// panelZoom is how many points of a picture one of the display takes.
const panelZoom = 4

// panelShot draws what the display at the cabinet would show at one time of a rehearsal.
type panelShot struct {
	file  string
	at    time.Duration
	taken bool
	made  bytes.Buffer
}

// parsePanel reads FILE@TIME.
func parsePanel(text string) (*panelShot, error) {
	if text == "" {
		return nil, nil
	}
	i := strings.LastIndexByte(text, '@')
	if i < 1 {
		return nil, usage("--panel %q has no time; write FILE.png@TIME, such as panel.png@2h", text)
	}
	at, err := quantity.ParseDuration(text[i+1:])
	if err != nil {
		return nil, usage("--panel: %v", err)
	}
	return &panelShot{file: text[:i], at: at}, nil
}

// see is told of the state once a minute.
func (p *panelShot) see(s *controller.State, c *cabinet.Cabinet, product *profile.Product) error {
	if p == nil || p.taken || s.Elapsed-s.Started < p.at {
		return nil
	}
	p.taken = true
	now := time.Unix(0, 0)
	snap := &snapshot.Snapshot{Simulated: true, Pace: 1, Time: now, Stepped: now, Cabinet: c, Product: product, State: *s}
	return png.Encode(&p.made, zoomed(panel.Look(snap, now, panel.Hands{Touched: now}).Picture))
}

// write puts the picture into its file.
func (p *panelShot) write() error {
	if p == nil {
		return nil
	}
	if !p.taken {
		return fmt.Errorf("--panel: the batch was over before %s; name an earlier time", quantity.FormatDuration(p.at))
	}
	return os.WriteFile(p.file, p.made.Bytes(), 0o644)
}

func zoomed(small *image.Gray) *image.Gray {
	big := image.NewGray(image.Rect(0, 0, panelZoom*small.Rect.Dx(), panelZoom*small.Rect.Dy()))
	for y := range big.Rect.Dy() {
		for x := range big.Rect.Dx() {
			big.Pix[y*big.Stride+x] = small.Pix[y/panelZoom*small.Stride+x/panelZoom]
		}
	}
	return big
}
