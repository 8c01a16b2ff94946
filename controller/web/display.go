package web

import (
	"bytes"
	"image/png"
	"net/http"

	"fumarium/controller/panel"
	"fumarium/controller/snapshot"
)

// display is what the display at the cabinet shows while nobody touches its buttons.
func (s *server) display(w http.ResponseWriter, r *http.Request) *problem {
	return s.charts.get(r.Context(), "display", func(snap *snapshot.Snapshot) *rendering {
		if snap == nil || snap.Cabinet == nil || snap.Cabinet.Panel.Display == "" {
			return &rendering{problem: refuse(http.StatusNotFound, "this cabinet has no display; its file names one with panel: {display: …}")}
		}
		now := s.Now()
		var b bytes.Buffer
		if err := png.Encode(&b, panel.Look(snap, now, panel.Hands{Touched: now}).Picture); err != nil {
			return &rendering{problem: refuse(http.StatusInternalServerError, "the picture could not be made: %v", err)}
		}
		return &rendering{kind: "image/png", body: b.Bytes()}
	}).answer(w)
}
