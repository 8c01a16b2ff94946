package metrics

import "github.com/prometheus/client_golang/prometheus"

// Gatherer is what the handler serves, without HTTP.
func (m *Metrics) Gatherer() prometheus.Gatherer { return m.registry }
