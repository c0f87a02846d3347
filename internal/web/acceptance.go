package web

import (
	"net/http"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/acceptance"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
)

func acceptancePages() []page {
	list := []access.Operation{"listAcceptances", "listColleagues"}
	compare := []access.Operation{"compareConsole", "listProcedures"}
	return []page{
		{method: http.MethodGet, path: "/acceptance", title: "acceptance.title", template: "acceptance.html", needs: list, listed: true, group: "nav.physics", serve: showAcceptances},
		{method: http.MethodGet, path: "/acceptance/new", title: "acceptance.new", template: "acceptancenew.html", needs: compare, serve: func(v *view) (any, error) { return v.newAcceptance("") }},
		{method: http.MethodPost, path: "/acceptance/new", title: "acceptance.new", template: "acceptancenew.html", needs: compare, serve: compareConsole},
		{method: http.MethodGet, path: "/acceptance/:id", title: "acceptance.one", template: "acceptanceone.html", needs: []access.Operation{"getAcceptance", "listColleagues"}, serve: func(v *view) (any, error) { return v.acceptance("") }},
		{method: http.MethodPost, path: "/acceptance/:id/sign", title: "acceptance.one", template: "acceptanceone.html", needs: []access.Operation{"getAcceptance", "listColleagues", "signAcceptance"}, serve: signAcceptance},
	}
}

// acceptanceRow is a comparison with names.
type acceptanceRow struct {
	httpapi.Acceptance
	By, Signer string
	Agreeing   int
}

func (c colleagues) acceptance(a httpapi.Acceptance) acceptanceRow {
	by, signer := c.both(a.MadeBy, a.SignedBy)
	row := acceptanceRow{Acceptance: a, By: by, Signer: signer}
	for _, r := range a.Rows {
		if string(r.State) == string(acceptance.Agrees) {
			row.Agreeing++
		}
	}
	return row
}

type acceptancesData struct {
	Rows       []acceptanceRow
	MayCompare bool
}

func showAcceptances(v *view) (any, error) {
	d := acceptancesData{MayCompare: v.grant.May("compareConsole") == nil}
	list, err := ask[httpapi.AcceptanceList](v, http.MethodGet, "/v1/acceptances", nil)
	if err != nil {
		return nil, err
	}
	c, err := v.colleagues()
	for _, a := range list.Acceptances {
		d.Rows = append(d.Rows, c.acceptance(a))
	}
	return d, err
}

// consoleCase is a case with the fields for what its console showed.
type consoleCase struct {
	httpapi.Procedure
	Fields []consoleField
}

// consoleField is where a person types one number of a console.
type consoleField struct {
	Name, Quantity string
	Units          []string
	Text, Unit     string
}

type acceptanceForm struct {
	Cases     []consoleCase
	Tolerance string
	Typed     typed
	Wrong     string
}

// casesToCompare is how many of the newest cases the form has.
const casesToCompare = 20

func (v *view) newAcceptance(wrong string) (acceptanceForm, error) {
	d := acceptanceForm{Typed: v.typed(), Wrong: wrong}
	d.Tolerance = d.Typed.Or("tolerance", strconv.FormatFloat(acceptance.DefaultTolerance, 'f', -1, 64))
	list, err := ask[httpapi.ProcedurePage](v, http.MethodGet, "/v1/procedures?limit="+strconv.Itoa(casesToCompare), nil)
	for _, p := range list.Procedures {
		one := consoleCase{Procedure: p}
		for _, q := range acceptance.Quantities() {
			name, units := string(q)+"_"+p.Id, acceptance.Units(q)
			one.Fields = append(one.Fields, consoleField{Name: name, Quantity: string(q), Units: units, Text: d.Typed.Of(name), Unit: d.Typed.Or("unit_"+name, units[0])})
		}
		d.Cases = append(d.Cases, one)
	}
	return d, err
}

// compareConsole compares every number that was typed.
func compareConsole(v *view) (any, error) {
	again := func(wrong string) (any, error) { return v.newAcceptance(wrong) }
	form, err := v.newAcceptance("")
	if err != nil {
		return nil, err
	}
	body := httpapi.AcceptanceRequest{Reason: v.text("reason"), Readings: []httpapi.ConsoleReading{}}
	if text := v.text("tolerance"); text != "" {
		t, err := number(text)
		if err != nil {
			data, err := again(v.lang.Text("acceptance.want_tolerance"))
			return shown{http.StatusUnprocessableEntity, data}, err
		}
		body.TolerancePercent = &t
	}
	for _, c := range form.Cases {
		for _, f := range c.Fields {
			if text := v.text(f.Name); text != "" {
				body.Readings = append(body.Readings, httpapi.ConsoleReading{
					ProcedureId: c.Id, Quantity: httpapi.ConsoleReadingQuantity(f.Quantity), Text: text, Unit: httpapi.ConsoleReadingUnit(v.form("unit_" + f.Name)),
				})
			}
		}
	}
	if len(body.Readings) == 0 {
		data, err := again(v.lang.Text("acceptance.want_readings"))
		return shown{http.StatusUnprocessableEntity, data}, err
	}
	a, err := ask[httpapi.Acceptance](v, http.MethodPost, "/v1/acceptances", body)
	return v.answered(err, "/acceptance/"+a.Id+"?done=console-compared", again)
}

// acceptanceData is one comparison, to read, print and sign.
type acceptanceData struct {
	acceptanceRow
	Lines   []acceptanceLine
	MaySign bool
	Mine    bool
	Typed   typed
	Wrong   string
}

// acceptanceLine is one number of a console beside the service's, as they are printed.
type acceptanceLine struct {
	httpapi.AcceptanceRow
	ServedText, Percent, UnitText string
}

func (v *view) acceptance(wrong string) (acceptanceData, error) {
	d := acceptanceData{Typed: v.typed(), Wrong: wrong}
	a, err := ask[httpapi.Acceptance](v, http.MethodGet, withID("/v1/acceptances/{id}", v.param("id")), nil)
	if err != nil {
		return d, err
	}
	c, err := v.colleagues()
	d.acceptanceRow = c.acceptance(a)
	d.Mine = a.MadeBy == v.grant.Account.ID
	d.MaySign = a.SignedBy == nil && !d.Mine && v.grant.May("signAcceptance") == nil
	for _, r := range a.Rows {
		line := acceptanceLine{AcceptanceRow: r, UnitText: strings.NewReplacer(".cm2", "·cm²", ".m2", "·m²", "uGy", "µGy").Replace(r.Unit)}
		const digits, decimals = 4, 2
		if r.Served != nil {
			line.ServedText = quantity.Significant(*r.Served, digits)
		}
		if r.DifferencePercent != nil {
			line.Percent = quantity.Fixed(*r.DifferencePercent, decimals) + " %"
		}
		d.Lines = append(d.Lines, line)
	}
	return d, err
}

// signAcceptance keeps that another physicist read the comparison.
func signAcceptance(v *view) (any, error) {
	id := v.param("id")
	_, err := v.call(http.MethodPost, withID("/v1/acceptances/{id}/sign", id), httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/acceptance/"+escape(id)+"?done=acceptance-signed", func(wrong string) (any, error) { return v.acceptance(wrong) })
}
