package web

import (
	"net/http"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
)

func recomputationPages() []page {
	list, one := []access.Operation{"listRecomputations", "listDevices", "listColleagues"}, []access.Operation{"getRecomputation", "listDifferences", "listColleagues"}
	return []page{
		{method: http.MethodGet, path: "/recomputations", title: "recompute.title", template: "recomputations.html", needs: list, listed: true, group: "nav.physics", serve: func(v *view) (any, error) { return v.recomputations("") }},
		{method: http.MethodPost, path: "/recomputations", title: "recompute.title", template: "recomputations.html", needs: append(list[:2:2], "recompute"), serve: recompute},
		{method: http.MethodGet, path: "/recomputations/:id", title: "recompute.one", template: "recomputation.html", needs: one, serve: showRecomputation},
	}
}

// withID puts an id into a path of the interface.
func withID(path, id string) string { return strings.Replace(path, "{id}", escape(id), 1) }

// recomputationsData is what was estimated anew, and the form that asks for more.
type recomputationsData struct {
	Rows    []recomputationRow
	Next    *string
	Devices []deviceRow
	MayAsk  bool
	Typed   typed
	Wrong   string
}

func (v *view) recomputations(wrong string) (recomputationsData, error) {
	d := recomputationsData{MayAsk: v.grant.May("recompute") == nil, Typed: v.typed(), Wrong: wrong}
	path := "/v1/recomputations?limit=50"
	if after := v.query("after"); after != "" {
		path += "&after=" + escape(after)
	}
	list, err := ask[httpapi.RecomputationPage](v, http.MethodGet, path, nil)
	if err != nil {
		return d, err
	}
	c, err := v.colleagues()
	if err != nil {
		return d, err
	}
	d.Next = list.Next
	for _, one := range list.Recomputations {
		d.Rows = append(d.Rows, recomputationRow{one, c.name(one.AskedBy)})
	}
	devices, err := ask[httpapi.DeviceList](v, http.MethodGet, "/v1/devices", nil)
	for _, one := range devices.Devices {
		d.Devices = append(d.Devices, deviceRow{Device: one, Called: called(one)})
	}
	return d, err
}

// recomputationRow is a recomputation with the name of who asked for it.
type recomputationRow struct {
	httpapi.Recomputation
	By string
}

// DeviceOf names the device of a recomputation, "" for one of every device.
func (d recomputationsData) DeviceOf(r recomputationRow) string {
	for _, one := range d.Devices {
		if r.DeviceId != nil && one.Id == *r.DeviceId {
			return one.Called
		}
	}
	return ""
}

// recompute has estimates made anew.
func recompute(v *view) (any, error) {
	body := httpapi.RecomputationRequest{DeviceId: v.optional("device"), From: v.optional("from"), To: v.optional("to"), Reason: v.text("reason")}
	r, err := ask[httpapi.Recomputation](v, http.MethodPost, "/v1/recomputations", body)
	return v.answered(err, "/recomputations/"+r.Id+"?done=recompute-asked", func(wrong string) (any, error) { return v.recomputations(wrong) })
}

// recomputationData is how far a recomputation came and what it changed.
type recomputationData struct {
	recomputationRow
	httpapi.DifferencePage
	Differences []differenceRow
	// MayList tells that the person may see the others too.
	MayList bool
}

// differenceRow is a case that was changed, its numbers as they are printed.
type differenceRow struct {
	httpapi.Difference
	Numbers []numberChange
}

type numberChange struct{ Quantity, Unit, BeforeText, AfterText string }

func differenceRowOf(d httpapi.Difference) differenceRow {
	row := differenceRow{Difference: d}
	printed := func(v *float64) string {
		if v == nil {
			return "–"
		}
		const digits = 3
		return quantity.Significant(*v, digits)
	}
	for _, n := range d.Numbers {
		row.Numbers = append(row.Numbers, numberChange{n.Quantity, strings.ReplaceAll(n.Unit, "Gy.cm2", "Gy·cm²"), printed(n.Before), printed(n.After)})
	}
	return row
}

func showRecomputation(v *view) (any, error) {
	d := recomputationData{MayList: v.grant.May("listRecomputations") == nil}
	var err error
	id := v.param("id")
	if d.Recomputation, err = ask[httpapi.Recomputation](v, http.MethodGet, withID("/v1/recomputations/{id}", id), nil); err != nil {
		return nil, err
	}
	c, err := v.colleagues()
	if err != nil {
		return nil, err
	}
	d.By = c.name(d.AskedBy)
	path := withID("/v1/recomputations/{id}/differences?limit=100", id)
	if after := v.query("after"); after != "" {
		path += "&after=" + escape(after)
	}
	d.DifferencePage, err = ask[httpapi.DifferencePage](v, http.MethodGet, path, nil)
	for _, one := range d.DifferencePage.Differences {
		d.Differences = append(d.Differences, differenceRowOf(one))
	}
	return d, err
}
