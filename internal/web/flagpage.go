package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	asks "afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
)

func flagPages() []page {
	read := []access.Operation{"getRaisedFlag", "getFollowUp", "getEstimate", "getPatient", "listColleagues", "getLevels"}
	return []page{
		{method: http.MethodGet, path: "/flags/:id", title: "flag.title", template: "flag.html", needs: read, serve: func(v *view) (any, error) { return v.flagPage("", "") }},
		{method: http.MethodPost, path: "/flags/:id/settle", title: "flag.title", template: "flag.html", needs: append(read, "settleFlag"), serve: settleFlag},
		{method: http.MethodPost, path: "/flags/:id/own-estimate", title: "flag.title", template: "flag.html", needs: append(read, "addOwnEstimate"), serve: addOwnEstimate},
	}
}

// flagRow is a flag that was reached, with its numbers printed.
type flagRow struct {
	httpapi.RaisedFlag
	Value, Level, Margin string // "" where there is no number
}

func flagRows(all []httpapi.RaisedFlag) []flagRow {
	rows := make([]flagRow, 0, len(all))
	for _, f := range all {
		rows = append(rows, flagRowOf(f))
	}
	return rows
}

// flagRowOf prints a flag's numbers; a value below its level never prints as the level.
func flagRowOf(f httpapi.RaisedFlag) flagRow {
	q, edge := level.Quantity(f.Quantity), 0.0
	r := flagRow{RaisedFlag: f}
	if f.Level != nil {
		edge = *f.Level
		r.Level = q.Print(edge, edge)
	}
	if f.Value != nil {
		r.Value = q.Print(*f.Value, edge)
	}
	if f.Margin != nil {
		r.Margin = q.Print(*f.Margin, 0)
	}
	return r
}

// ownRow is a physicist's own estimate with its numbers printed.
type ownRow struct {
	httpapi.OwnEstimate
	Value, Between, By string
}

// estimates are the computed peak skin dose of the newest version and those of physicists beside it.
type estimates struct {
	Computed, Between, Method string
	Own                       []ownRow
}

func (v *view) estimates(of httpapi.FollowUp, c colleagues) (estimates, error) {
	e, err := v.edges()
	if err != nil {
		return estimates{}, err
	}
	d := estimates{Method: of.Procedure.PeakSkinDose.Method}
	d.Computed, d.Between = peakOf(of.Procedure.PeakSkinDose, e)
	if _, unit, ok := strings.Cut(d.Computed, " "); ok && d.Between != "" {
		d.Between += " " + unit
	}
	for _, own := range of.OwnEstimates {
		value, from, to, unit := quantity.ShowSkin(quantity.Gray(own.ValueGy), quantity.Gray(own.LowGy), quantity.Gray(own.HighGy), e.psd...)
		d.Own = append(d.Own, ownRow{own, value + " " + unit, from + " – " + to + " " + unit, c.name(own.Author)})
	}
	return d, nil
}

// flagData is one flag with its history.
type flagData struct {
	banner
	estimates
	Flag flagRow
	// Of is the flag as the last version that reached it has it: basis, method and source; nil when that is not to be had.
	Of      *httpapi.Flag
	Asks    []askRow
	History []flagEventRow
	// MaySettle tells whether the person's role may settle it, Grounds on what; MayEstimate whether it may add an own estimate.
	MaySettle, MayEstimate bool
	Grounds                []string
	Typed                  typed
	Wrong, WrongEstimate   string
}

type flagEventRow struct {
	httpapi.FlagEvent
	By, Printed string
}

func (v *view) flagPage(wrong, wrongEstimate string) (flagData, error) {
	d := flagData{Typed: v.typed(), Wrong: wrong, WrongEstimate: wrongEstimate}
	detail, err := ask[httpapi.RaisedFlagDetail](v, http.MethodGet, "/v1/raised-flags/"+escape(v.param("id")), nil)
	if err != nil {
		return d, err
	}
	d.Flag = flagRowOf(detail.Flag)
	c, of, banner, err := v.followedUp(detail.Flag.ProcedureId)
	if err != nil {
		return d, err
	}
	d.banner = banner
	if d.estimates, err = v.estimates(of, c); err != nil {
		return d, err
	}
	for _, a := range of.Asks {
		if slices.Contains(detail.AskIds, a.Id) {
			d.Asks = append(d.Asks, v.askRow(a, of.Today, c))
		}
	}
	for _, e := range detail.History {
		row := flagEventRow{FlagEvent: e, By: c.name(e.Actor)}
		if e.Value != nil {
			row.Printed = flagRowOf(httpapi.RaisedFlag{Quantity: detail.Flag.Quantity, Value: e.Value, Level: e.Level}).Value
		}
		d.History = append(d.History, row)
	}
	d.mayWhat(v)
	d.Of, err = v.flagOf(detail.Flag)
	return d, err
}

// mayWhat fills in what the person may do. The interface checks it again, with what only it knows.
func (d *flagData) mayWhat(v *view) {
	d.MayEstimate = v.grant.May("addOwnEstimate") == nil
	if d.Flag.State != httpapi.RaisedFlagStateOpen {
		return
	}
	for _, g := range asks.Grounds() {
		standing := asks.Standing{Meaning: d.Flag.Meaning, Quantity: level.Quantity(d.Flag.Quantity), Own: len(d.Own) > 0}
		for _, a := range d.Asks {
			if a.State == httpapi.AskStateOpen {
				standing.Open++
			}
		}
		if (asks.Settlement{Ground: g, Reason: "reason"}).Check(asks.Role(v.grant.Role), standing) == nil {
			d.Grounds = append(d.Grounds, string(g))
		}
	}
	d.MaySettle = len(d.Grounds) > 0
}

// flagOf looks a flag up in the version that reached it last.
func (v *view) flagOf(f httpapi.RaisedFlag) (*httpapi.Flag, error) {
	e, err := ask[httpapi.EstimateDetail](v, http.MethodGet, "/v1/procedures/"+f.ProcedureId+"/estimates/"+strconv.Itoa(f.ReachedVersion), nil)
	if err != nil {
		return nil, err
	}
	for _, one := range e.Flags {
		if one.Scope == f.Scope && one.Scheme == f.Scheme && one.LevelId == f.LevelId {
			return &one, nil
		}
	}
	return nil, nil //nolint:nilnil // the page says that it is not to be had
}

// settleFlag keeps the person's word that nothing more follows from a flag.
func settleFlag(v *view) (any, error) {
	id := escape(v.param("id"))
	_, err := ask[httpapi.RaisedFlagDetail](v, http.MethodPost, "/v1/raised-flags/"+id+"/settle",
		httpapi.SettleRequest{Ground: httpapi.SettleRequestGround(v.form("ground")), Reason: v.text("reason")})
	return v.answered(err, "/flags/"+id+"?done=flag-settled", func(wrong string) (any, error) { return v.flagPage(wrong, "") })
}

// addOwnEstimate keeps a physicist's own estimate beside the computed one.
func addOwnEstimate(v *view) (any, error) {
	again := func(wrong string) (any, error) { return v.flagPage("", wrong) }
	var numbers [3]float64
	for i, name := range []string{"value", "low", "high"} {
		n, err := number(v.text(name))
		if err != nil {
			data, err := again(v.lang.Text("flag.want_numbers"))
			return shown{http.StatusUnprocessableEntity, data}, err
		}
		numbers[i] = n
	}
	id := escape(v.param("id"))
	flag, err := ask[httpapi.RaisedFlagDetail](v, http.MethodGet, "/v1/raised-flags/"+id, nil)
	if err != nil {
		return nil, err
	}
	_, err = ask[httpapi.OwnEstimate](v, http.MethodPost, "/v1/procedures/"+flag.Flag.ProcedureId+"/own-estimates", httpapi.OwnEstimateRequest{
		ValueGy: numbers[0], LowGy: numbers[1], HighGy: numbers[2], Place: v.optional("place"), Method: v.text("method"), Reason: v.text("why"),
	})
	return v.answered(err, "/flags/"+id+"?done=own-estimate", again)
}
