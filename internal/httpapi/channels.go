package httpapi

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"afterbeam/internal/metric"
	"afterbeam/internal/store"
)

type channelStore interface {
	ChannelStates(ctx context.Context) ([]store.ChannelState, error)
}

// channelGauges asks the store how notices get through, whenever the metrics are asked for.
type channelGauges struct {
	store                            channelStore
	now                              func() time.Time
	waiting, failed, failing, oldest *prometheus.Desc
}

func newChannelGauges(db channelStore, now func() time.Time) *channelGauges {
	return &channelGauges{
		store: db, now: now,
		waiting: metric.Desc("afterbeam_notices_waiting"),
		failed:  metric.Desc("afterbeam_notices_failed"),
		failing: metric.Desc("afterbeam_notice_channel_failing_seconds"),
		oldest:  metric.Desc("afterbeam_notices_oldest_seconds"),
	}
}

// Describe names the metrics.
func (t *channelGauges) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{t.waiting, t.failed, t.failing, t.oldest} {
		to <- d
	}
}

// Collect asks the store.
func (t *channelGauges) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	all, err := t.store.ChannelStates(ctx)
	if err != nil {
		to <- prometheus.NewInvalidMetric(t.waiting, err)
		return
	}
	age := func(from time.Time) float64 {
		if from.IsZero() {
			return 0
		}
		return max(0, t.now().Sub(from).Seconds())
	}
	for _, s := range all {
		channel := s.Channel
		if channel == "" {
			channel = "nobody"
		}
		for _, m := range []struct {
			desc  *prometheus.Desc
			value float64
		}{{t.waiting, float64(s.Waiting)}, {t.failed, float64(s.Failed)}, {t.failing, age(s.FailingFrom)}, {t.oldest, age(s.Oldest)}} {
			to <- prometheus.MustNewConstMetric(m.desc, prometheus.GaugeValue, m.value, channel)
		}
	}
}
