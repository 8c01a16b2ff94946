package panel_test

import (
	"testing"
	"time"

	"fumarium/controller/panel"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
)

func BenchmarkLook(b *testing.B) {
	for name, change := range map[string]func(*snapshot.Snapshot){"numbers": func(*snapshot.Snapshot) {}, "words": func(s *snapshot.Snapshot) { raise(s, trip.CoreLost) }} {
		b.Run(name, func(b *testing.B) {
			s := running(b)
			change(s)
			b.ReportAllocs()
			for now := noon; b.Loop(); now = now.Add(time.Second) {
				s.Stepped = now
				panel.Look(s, now, panel.Hands{Touched: noon})
			}
		})
	}
}
