package httpapi

import (
	"context"
	"net/http"
	"runtime"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"afterbeam/internal/access"
	"afterbeam/internal/metric"
	"afterbeam/internal/store"
)

// metrics counts what the service does. No label holds anything that a caller sent.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	reports  *prometheus.CounterVec
}

func newMetrics(cfg Config, db Store) (*metrics, error) {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: metric.Counter("afterbeam_http_requests_total"),
		seconds:  metric.Histogram("afterbeam_http_request_seconds", prometheus.ExponentialBuckets(0.001, 2, 15)),
		reports:  metric.Counter("afterbeam_http_reports_total"),
	}
	build := metric.Gauge("afterbeam_build_info")
	build.WithLabelValues(cfg.Version, runtime.Version()).Set(1)
	for _, c := range []prometheus.Collector{
		m.requests, m.seconds, m.reports, build, newBacklog(db, cfg.Now), newChannelGauges(db, cfg.Now), newSenders(db, cfg), cfg.Upkeep,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	} {
		if err := m.registry.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

func (m *metrics) handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError})
}

func (m *metrics) request(op access.Operation, status int, took time.Duration) {
	if op == "" {
		op = "none"
	}
	m.requests.WithLabelValues(string(op), strconv.Itoa(status)).Inc()
	m.seconds.WithLabelValues(string(op)).Observe(took.Seconds())
}

func (m *metrics) report(answer string) { m.reports.WithLabelValues(answer).Inc() }

type backlogStore interface {
	Backlog(ctx context.Context) (store.Backlog, error)
}

// backlog asks the store how much work waits, whenever the metrics are asked for.
type backlog struct {
	store                   backlogStore
	now                     func() time.Time
	waiting, failed, oldest *prometheus.Desc
}

func newBacklog(db backlogStore, now func() time.Time) *backlog {
	return &backlog{
		store: db, now: now,
		waiting: metric.Desc("afterbeam_jobs_waiting"),
		failed:  metric.Desc("afterbeam_jobs_failed"),
		oldest:  metric.Desc("afterbeam_jobs_oldest_seconds"),
	}
}

// Describe names the metrics.
func (b *backlog) Describe(to chan<- *prometheus.Desc) {
	to <- b.waiting
	to <- b.failed
	to <- b.oldest
}

// Collect asks the store.
func (b *backlog) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	work, err := b.store.Backlog(ctx)
	if err != nil {
		to <- prometheus.NewInvalidMetric(b.waiting, err)
		return
	}
	age := 0.0
	if !work.Oldest.IsZero() {
		age = max(0, b.now().Sub(work.Oldest).Seconds())
	}
	to <- prometheus.MustNewConstMetric(b.waiting, prometheus.GaugeValue, float64(work.Waiting))
	to <- prometheus.MustNewConstMetric(b.failed, prometheus.GaugeValue, float64(work.Failed))
	to <- prometheus.MustNewConstMetric(b.oldest, prometheus.GaugeValue, age)
}
