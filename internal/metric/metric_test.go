package metric_test

import (
	"bytes"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"afterbeam/internal/metric"
)

func TestTheTablesAgree(t *testing.T) {
	rows := map[string]metric.Row{}
	for _, r := range metric.Rows() {
		assert.NotContains(t, rows, r.Name, "a name once")
		assert.True(t, strings.HasSuffix(r.Help, "."), r.Name)
		rows[r.Name] = r
	}
	var ids []string
	for _, a := range metric.Alarms() {
		assert.Equal(t, "gauge", rows[a.Metric].Kind, "%s is on %s", a.ID, a.Metric)
		assert.NotContains(t, ids, a.ID)
		assert.Contains(t, []metric.Severity{metric.Urgent, metric.Warning}, a.Severity)
		assert.NotEmpty(t, a.Do, a.ID)
		ids = append(ids, a.ID)
	}
	for _, wanted := range []string{"device-silent", "backlog", "jobs-failed", "backup-late", "disk-low", "certificate-30", "certificate-7", "certificate-1", "audit-broken", "channel-failing"} {
		assert.Contains(t, ids, wanted)
	}
}

// TestNow sets each alarm's measurement beside its limit: on it, below it, above it, and to what has no bound.
func TestNow(t *testing.T) {
	for _, a := range metric.Alarms() {
		for _, tt := range []struct {
			value float64
			want  bool
		}{
			{a.Limit, false},
			{math.Nextafter(a.Limit, math.Inf(-1)), a.Below},
			{math.Nextafter(a.Limit, math.Inf(1)), !a.Below},
			{math.Inf(1), !a.Below},
		} {
			registry := prometheus.NewRegistry()
			labels := 0
			for _, r := range metric.Rows() {
				if r.Name == a.Metric {
					labels = len(r.Labels)
				}
			}
			gauge := metric.Gauge(a.Metric)
			require.NoError(t, registry.Register(gauge))
			series := slices.Repeat([]string{"one"}, labels)
			gauge.WithLabelValues(series...).Set(tt.value)
			families, err := registry.Gather()
			require.NoError(t, err)
			raised := metric.Now(families)
			i := slices.IndexFunc(raised, func(r metric.Raised) bool { return r.ID == a.ID })
			require.Equal(t, tt.want, i >= 0, "%s at %g", a.ID, tt.value)
			if i >= 0 {
				assert.Equal(t, strings.Join(series, ""), raised[i].Series)
			}
		}
	}
}

// The rules are YAML of the form that Prometheus reads, one a row and one for a service that does not answer.
func TestRules(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, metric.WriteRules(&out))
	var file struct {
		Groups []struct {
			Name  string
			Rules []struct {
				Alert, Expr, For    string
				Labels, Annotations map[string]string
			}
		}
	}
	decoder := yaml.NewDecoder(&out)
	decoder.KnownFields(true)
	require.NoError(t, decoder.Decode(&file))
	require.Len(t, file.Groups, 1)
	rules := file.Groups[0].Rules
	require.Len(t, rules, len(metric.Alarms())+1)
	form := regexp.MustCompile(`^afterbeam_[a-z_]+ [<>] [0-9.e+]+$`)
	for i, a := range metric.Alarms() {
		assert.Equal(t, "afterbeam-"+a.ID, rules[i].Alert)
		assert.Regexp(t, form, rules[i].Expr)
		assert.Equal(t, map[string]string{"severity": string(a.Severity)}, rules[i].Labels)
		assert.Equal(t, map[string]string{"summary": a.Means, "description": a.Do}, rules[i].Annotations)
	}
}
