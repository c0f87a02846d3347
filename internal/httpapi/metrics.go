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
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "afterbeam_http_requests_total", Help: "Requests answered, by operation of the contract and status.",
		}, []string{"operation", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "afterbeam_http_request_seconds", Help: "Time to answer, by operation of the contract.", Buckets: prometheus.ExponentialBuckets(0.001, 2, 15),
		}, []string{"operation"}),
		reports: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "afterbeam_http_reports_total", Help: "Reports handed in over HTTP: stored, again, quarantined, refused.",
		}, []string{"answer"}),
	}
	build := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "afterbeam_build_info", Help: "Version of the program."}, []string{"version", "go"})
	build.WithLabelValues(cfg.Version, runtime.Version()).Set(1)
	for _, c := range []prometheus.Collector{
		m.requests, m.seconds, m.reports, build, newBacklog(db, cfg.Now), newChannelGauges(db, cfg.Now), newSenders(db, cfg),
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
		waiting: prometheus.NewDesc("afterbeam_jobs_waiting", "Jobs that wait or are under way.", nil, nil),
		failed:  prometheus.NewDesc("afterbeam_jobs_failed", "Jobs that failed for good.", nil, nil),
		oldest:  prometheus.NewDesc("afterbeam_jobs_oldest_seconds", "Age of the oldest waiting job, 0 when none waits.", nil, nil),
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
