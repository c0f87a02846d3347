package web

import (
	"net/http"
	"slices"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func operationsPages() []page {
	return []page{{
		method: http.MethodGet, path: "/operations", title: "operations.title", template: "operations.html", listed: true, group: "nav.administration",
		needs: []access.Operation{"getOperations"}, serve: func(v *view) (any, error) { return v.operations() },
	}}
}

// operationsData is how the service itself stands.
type operationsData struct {
	httpapi.Operations
	Alarms []alarmRow
	Disks  []diskRow
	Runs   []runRow
}

// alarmRow is an alarm with the keys of its texts.
type alarmRow struct {
	httpapi.OperationsAlarm
	Key    string
	Urgent bool
	Which  string // the series, such as a disk; "" where there is one alone
}

// diskRow is a disk with its sizes in GiB.
type diskRow struct {
	httpapi.OperationsDisk
	Free, Total float64
}

// runRow is a run with the key of its kind.
type runRow struct {
	httpapi.OperationsRun
	Key string
}

const gibibyte = 1 << 30

func (v *view) operations() (operationsData, error) {
	o, err := ask[httpapi.Operations](v, http.MethodGet, "/v1/operations", nil)
	d := operationsData{Operations: o}
	for _, a := range o.Alarms {
		row := alarmRow{OperationsAlarm: a, Key: alarmKey(a.Id), Urgent: a.Severity == "urgent"}
		if a.Series != nil {
			row.Which = *a.Series
		}
		d.Alarms = append(d.Alarms, row)
	}
	slices.SortStableFunc(d.Alarms, func(a, b alarmRow) int { return strings.Compare(string(a.Severity), string(b.Severity)) }) // urgent before warning
	for _, one := range o.Disks {
		d.Disks = append(d.Disks, diskRow{one, float64(one.FreeBytes) / gibibyte, float64(one.TotalBytes) / gibibyte})
	}
	for _, r := range o.Runs {
		d.Runs = append(d.Runs, runRow{r, "operations.run_" + strings.ReplaceAll(string(r.Kind), " ", "_")})
	}
	return d, err
}

// alarmKey is where the texts of an alarm stand: what it means, and with "_do" what to do.
func alarmKey(id string) string { return "operations.alarm_" + strings.ReplaceAll(id, "-", "_") }
