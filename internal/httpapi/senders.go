package httpapi

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"afterbeam/internal/metric"
)

// senders asks the store, whenever the metrics are asked for, how long devices have sent nothing. A device is named by its
// opaque id alone.
type senders struct {
	store       deviceStore
	cfg         Config
	silent, age *prometheus.Desc
}

func newSenders(db deviceStore, cfg Config) *senders {
	return &senders{
		store: db, cfg: cfg,
		silent: metric.Desc("afterbeam_devices_silent"),
		age:    metric.Desc("afterbeam_device_last_report_seconds"),
	}
}

// Describe names the metrics.
func (s *senders) Describe(to chan<- *prometheus.Desc) {
	to <- s.silent
	to <- s.age
}

// Collect asks the store.
func (s *senders) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	all, err := watch(ctx, s.store, nil, dayAt(s.cfg))
	if err != nil {
		to <- prometheus.NewInvalidMetric(s.silent, err)
		return
	}
	silent := 0
	for _, w := range all {
		if w.habit.Silent() {
			silent++
		}
		if !w.device.LastReceived.IsZero() {
			age := max(0, s.cfg.Now().Sub(w.device.LastReceived).Seconds())
			to <- prometheus.MustNewConstMetric(s.age, prometheus.GaugeValue, age, w.device.ID)
		}
	}
	to <- prometheus.MustNewConstMetric(s.silent, prometheus.GaugeValue, float64(silent))
}
