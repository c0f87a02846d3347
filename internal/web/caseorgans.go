package web

import (
	"cmp"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"

	"afterbeam/internal/httpapi"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/quantity"
)

// caseOrgans is the effective dose by the case's own beams beside that by coefficients, and the organ doses.
type caseOrgans struct {
	httpapi.OrganDoses
	// Own and Coefficients are printed with their units, "" when there is none; Quotient is the first over the second.
	Own, OwnRange, Coefficients, Quotient string
	Rows                                  []organRow
	Computed                              *organ.Doses
}

// organRow is one organ. An organ far from all beams has "< x" and no range.
type organRow struct{ Organ, Dose, Range, Error string }

func (v *view) caseOrgans(path string, d *caseData) error {
	if !d.May["getOrgans"] {
		return nil
	}
	o, err := ask[httpapi.OrganDoses](v, http.MethodGet, path+"/organs", nil)
	if err != nil {
		return err
	}
	d.Organs.OrganDoses = o
	mSv := func(s quantity.Sievert) string { return quantity.ShowEffective(s) }
	if c := o.CoefficientsMsv; c != nil {
		d.Organs.Coefficients = v.measure(mSv(quantity.Sievert(*c)*quantity.MilliSievert) + " mSv")
	}
	if o.Doses == nil {
		return nil
	}
	var doses organ.Doses
	if err := json.Unmarshal(*o.Doses, &doses); err != nil {
		return fmt.Errorf("organ doses of %s: %w", path, err)
	}
	d.Organs.Computed = &doses
	e := doses.Effective
	d.Organs.Own = v.measure(mSv(e.Value) + " mSv")
	d.Organs.OwnRange = v.lang.Text("case.range", "low", v.measure(mSv(e.Low)), "high", v.measure(mSv(e.High)+" mSv"))
	if o.Ratio != nil {
		d.Organs.Quotient = v.lang.Figure(quantity.Figures(*o.Ratio, 2))
	}
	slices.SortStableFunc(doses.Organs, func(a, b organ.Dose) int { return cmp.Compare(b.Value.Or(0), a.Value.Or(0)) })
	for _, one := range doses.Organs {
		d.Organs.Rows = append(d.Organs.Rows, v.organRow(one))
	}
	return nil
}

func (v *view) organRow(one organ.Dose) organRow {
	print := func(g quantity.Gray) string { return v.measure(quantity.Figures(float64(g/quantity.MilliGray), 2)) }
	row := organRow{Organ: one.Organ}
	if value, ok := one.Value.Get(); ok {
		row.Dose = print(value)
		row.Range = v.lang.Text("case.range", "low", print(one.Low.Or(value)), "high", print(one.High.Or(value)))
		row.Error = v.measure(quantity.Figures(float64(one.Error.Or(0)), 1) + " %")
	} else if below, ok := one.Below.Get(); ok {
		row.Dose = "< " + print(below)
	}
	return row
}
