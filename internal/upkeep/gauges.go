package upkeep

import (
	"context"
	"math"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"afterbeam/internal/metric"
	"afterbeam/internal/store"
)

// gaugeNames are the measurements that a Worker exposes.
func gaugeNames() []string {
	return []string{
		"afterbeam_schema_version", "afterbeam_backup_configured", "afterbeam_backup_age_seconds", "afterbeam_backup_late_seconds", "afterbeam_backup_failed",
		"afterbeam_backups_kept", "afterbeam_drill_age_seconds", "afterbeam_disk_free_bytes", "afterbeam_disk_free_ratio", "afterbeam_certificate_days",
		"afterbeam_audit_chain_sound", "afterbeam_audit_checked_seconds", "afterbeam_audit_records", "afterbeam_holds",
	}
}

// Describe names the measurements.
func (w *Worker) Describe(to chan<- *prometheus.Desc) {
	for _, name := range gaugeNames() {
		to <- metric.Desc(name)
	}
}

// Collect looks at everything once.
func (w *Worker) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	s, err := w.State(ctx)
	if err != nil {
		to <- prometheus.NewInvalidMetric(metric.Desc("afterbeam_schema_version"), err)
		return
	}
	gauge := func(name string, value float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(metric.Desc(name), prometheus.GaugeValue, value, labels...)
	}
	now := w.Now()
	gauge("afterbeam_schema_version", float64(s.Schema))
	gauge("afterbeam_backup_configured", one(s.Backups.Dir != ""))
	if s.Backups.Dir != "" {
		if len(s.Backups.Kept) > 0 {
			gauge("afterbeam_backup_age_seconds", now.Sub(s.Backups.Kept[0].At).Seconds())
		}
		gauge("afterbeam_backup_late_seconds", s.Backups.Late.Seconds())
		gauge("afterbeam_backup_failed", one(s.Backups.Failed))
		gauge("afterbeam_backups_kept", float64(len(s.Backups.Kept)))
		gauge("afterbeam_drill_age_seconds", w.sinceDrill(ctx, now))
	}
	for _, d := range s.Disks {
		gauge("afterbeam_disk_free_bytes", float64(d.Free), d.Name)
		gauge("afterbeam_disk_free_ratio", d.Share(), d.Name)
	}
	for _, c := range s.Certificates {
		gauge("afterbeam_certificate_days", c.Ends.Sub(now).Hours()/24, c.Name)
	}
	if s.Chain.Checked {
		gauge("afterbeam_audit_chain_sound", one(s.Chain.Sound))
		if !s.Chain.SoundAt.IsZero() {
			gauge("afterbeam_audit_checked_seconds", now.Sub(s.Chain.SoundAt).Seconds())
		}
	}
	gauge("afterbeam_audit_records", float64(s.Chain.Head.Sequence))
	gauge("afterbeam_holds", float64(s.Holds))
}

// sinceDrill is the age of the last drill that succeeded, in seconds.
func (w *Worker) sinceDrill(ctx context.Context, now time.Time) float64 {
	run, err := w.Store.LastSound(ctx, store.DrillRun)
	if err != nil {
		return math.Inf(1)
	}
	return now.Sub(run.EndedAt).Seconds()
}

func one(is bool) float64 {
	if is {
		return 1
	}
	return 0
}
