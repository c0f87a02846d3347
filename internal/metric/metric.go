package metric

import (
	"fmt"
	"slices"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// find gives the row of a name. A name that is not in the table shows in every answer as what is wrong with it.
func find(name string) Row {
	rows := Rows()
	i := slices.IndexFunc(rows, func(r Row) bool { return r.Name == name })
	if i < 0 {
		return Row{Name: name, Help: "Not in the table of measurements."}
	}
	return rows[i]
}

// Desc gives what a collector says of a measurement.
func Desc(name string) *prometheus.Desc {
	row := find(name)
	return prometheus.NewDesc(row.Name, row.Help, row.Labels, nil)
}

// Counter makes a counter of the table.
func Counter(name string) *prometheus.CounterVec {
	row := find(name)
	return prometheus.NewCounterVec(prometheus.CounterOpts{Name: row.Name, Help: row.Help}, row.Labels)
}

// Gauge makes a gauge of the table.
func Gauge(name string) *prometheus.GaugeVec {
	row := find(name)
	return prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: row.Name, Help: row.Help}, row.Labels)
}

// Histogram makes a histogram of the table.
func Histogram(name string, buckets []float64) *prometheus.HistogramVec {
	row := find(name)
	return prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: row.Name, Help: row.Help, Buckets: buckets}, row.Labels)
}

// Condition is an alarm's condition as a query for Prometheus.
func (a Alarm) Condition() string {
	sign := ">"
	if a.Below {
		sign = "<"
	}
	return fmt.Sprintf("%s %s %g", a.Metric, sign, a.Limit)
}

// holds tells whether a value meets the condition.
func (a Alarm) holds(value float64) bool {
	if a.Below {
		return value < a.Limit
	}
	return value > a.Limit
}

// Raised is an alarm whose condition holds.
type Raised struct {
	Alarm
	// Series names the label that tells which one it is, such as a disk; "" where there is one alone. Value is its value.
	Series string
	Value  float64
}

// Now tells which alarms hold, in the order of the table. How long they have held is not known here.
func Now(families []*dto.MetricFamily) []Raised {
	var all []Raised
	for _, a := range Alarms() {
		for _, f := range families {
			if f.GetName() != a.Metric {
				continue
			}
			for _, m := range f.GetMetric() {
				if value := m.GetGauge().GetValue(); a.holds(value) {
					all = append(all, Raised{a, series(m), value})
				}
			}
		}
	}
	return all
}

func series(m *dto.Metric) string {
	if labels := m.GetLabel(); len(labels) > 0 {
		return labels[0].GetValue()
	}
	return ""
}
