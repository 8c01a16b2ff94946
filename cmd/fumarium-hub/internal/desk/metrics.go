package desk

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"fumarium/cmd/fumarium-hub/internal/store"
)

// row is the row of cabinets as Prometheus asks for it: what is not known is absent.
type row []store.Cabinet

func described(name, help string) *prometheus.Desc {
	return prometheus.NewDesc("fumarium_hub_"+name, help, []string{"cabinet"}, nil)
}

var (
	seenDesc    = described("board_seen_timestamp_seconds", "When the board was last heard of, by the hub's clock.")
	alarmsDesc  = described("alarms", "Alarms of the hub on the cabinet's record that stand.")
	batchesDesc = described("batches", "Batches of the cabinet that are kept.")
	activeDesc  = described("batch_under_way", "1 while the newest batch that was sent is not over, else 0.")
	chamberDesc = described("chamber_celsius", "Chamber in the newest link that was sent.")
	coreDesc    = described("core_celsius", "Core in the newest link that was sent.")
	calledDesc  = described("cabinet_alarms", "Alarms of the cabinet that stand in the newest link that was sent.")
	goodDesc    = described("batch_good", "1 if the newest batch was judged good, 0 if not; absent while it is not judged.")
)

// Describe implements prometheus.Collector.
func (c row) Describe(ch chan<- *prometheus.Desc) { prometheus.DescribeByCollect(c, ch) }

// Collect implements prometheus.Collector.
func (c row) Collect(ch chan<- prometheus.Metric) {
	put := func(d *prometheus.Desc, cabinet string, v float64) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, cabinet)
	}
	is := func(b bool) float64 {
		if b {
			return 1
		}
		return 0
	}
	for _, c := range c {
		put(alarmsDesc, c.Name, float64(c.Alarms))
		put(batchesDesc, c.Name, float64(c.Batches))
		if c.Seen != nil {
			put(seenDesc, c.Name, float64(c.Seen.Unix()))
		}
		b := c.Latest
		if b == nil {
			continue
		}
		put(activeDesc, c.Name, is(b.Ended == nil))
		put(calledDesc, c.Name, float64(len(b.Standing)))
		if b.Ended == nil && b.Chamber != nil {
			put(chamberDesc, c.Name, *b.Chamber)
		}
		if b.Ended == nil && b.Core != nil {
			put(coreDesc, c.Name, *b.Core)
		}
		if b.Good != nil && b.Judged == b.Links {
			put(goodDesc, c.Name, is(*b.Good))
		}
	}
}

func (d *Desk) metrics(w http.ResponseWriter, r *http.Request, _ *store.Person) error {
	all, err := d.store.Cabinets(r.Context())
	if err != nil {
		return err
	}
	registry := prometheus.NewRegistry()
	if err := registry.Register(row(all)); err != nil {
		return err
	}
	promhttp.HandlerFor(registry, promhttp.HandlerOpts{}).ServeHTTP(w, r)
	return nil
}
