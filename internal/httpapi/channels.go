package httpapi

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"

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
	of := []string{"channel"}
	return &channelGauges{
		store: db, now: now,
		waiting: prometheus.NewDesc("afterbeam_notices_waiting", "Messages that are due or to be tried again; of the channel nobody, notices that have nobody to go to.", of, nil),
		failed:  prometheus.NewDesc("afterbeam_notices_failed", "Messages that the channel will not take.", of, nil),
		failing: prometheus.NewDesc("afterbeam_notice_channel_failing_seconds", "How long a channel has been taking nothing, 0 when it is well.", of, nil),
		oldest:  prometheus.NewDesc("afterbeam_notices_oldest_seconds", "Age of the oldest waiting message, 0 when none waits.", of, nil),
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
