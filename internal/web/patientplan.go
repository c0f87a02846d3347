package web

import (
	"bytes"
	"errors"
	"html/template"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/export/outlook"
	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// planData is what was asked about a next stage and what it would add. The questions stand in the page's address: none of
// them names a patient.
type planData struct {
	Patient person
	Places  []string
	// Asked are the fields of the form as they were sent.
	Asked map[string]string
	Wrong string
	// RateDay is the day of the procedure whose kerma a minute the form offers, "" for none.
	RateDay string
	Kerma   string // that was asked for, printed
	Minutes bool   // and comes from minutes at a rate
	Answer  *planAnswer
}

// planAnswer is what the same kerma would do from each direction.
type planAnswer struct {
	outlook.Document
	Picture                       template.HTML
	Peak, Elsewhere               string
	Primary                       []string
	Rows                          []planRow
	Least, Most                   string
	LeastDirection, MostDirection string
}

// planRow is the directions of one secondary angle.
type planRow struct {
	Secondary string
	Cells     []planCell
}

// planCell is one direction; After is "" where the beam hits no skin.
type planCell struct{ After, Adds string }

// planFields are those of the form.
func planFields() []string {
	return []string{"kerma", "minutes", "rate", "place", "field", "detector", "table"}
}

func showPlan(v *view) (any, error) {
	d := planData{Places: body.Places(), Asked: map[string]string{}}
	path := "/v1/patients/" + v.param("id")
	p, err := ask[httpapi.Patient](v, http.MethodGet, path, nil)
	if err != nil {
		return nil, err
	}
	d.Patient = v.personOf(p)
	for _, name := range planFields() {
		d.Asked[name] = strings.TrimSpace(v.query(name))
	}
	dose, err := ask[httpapi.CumulativeDose](v, http.MethodGet, path+"/dose", nil)
	if err != nil {
		return nil, err
	}
	v.offerRate(&d, dose.Procedures)
	if d.Asked["kerma"] == "" && d.Asked["minutes"] == "" {
		if v.query("asked") != "" {
			d.Wrong = v.lang.Text("plan.no_kerma")
			return shown{http.StatusUnprocessableEntity, d}, nil
		}
		return d, nil
	}
	wanted, wrong := v.planWanted(&d)
	if wrong != "" {
		d.Wrong = v.lang.Text(wrong)
		return shown{http.StatusUnprocessableEntity, d}, nil
	}
	doc, err := ask[outlook.Document](v, http.MethodPost, path+"/beam-plans", wanted)
	if err != nil {
		return v.planRefused(d, err)
	}
	d.Answer, err = v.planned(doc)
	return d, err
}

// offerRate fills in the kerma a minute of the newest procedure that tells both, for who asks by minutes.
func (v *view) offerRate(d *planData, all []httpapi.Procedure) {
	for _, p := range slices.Backward(all) {
		kerma, minutes := p.Dose.KermaGy, p.Dose.FluoroscopyMin
		if kerma == nil || minutes == nil || *minutes <= 0 || *kerma <= 0 {
			continue
		}
		if p.LocalDate != nil {
			d.RateDay = v.day(*p.LocalDate)
		}
		if d.Asked["rate"] == "" {
			d.Asked["rate"] = v.lang.Figure(quantity.Significant(1000**kerma / *minutes, 2))
		}
		return
	}
}

// planWanted reads the form into a question of the interface, or gives the key of what is wrong.
func (v *view) planWanted(d *planData) (ask httpapi.BeamPlanRequest, wrong string) {
	n := map[string]*float64{}
	for name, text := range d.Asked {
		if text == "" || name == "place" {
			continue
		}
		x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return ask, "plan.no_number"
		}
		n[name] = &x
	}
	kerma := n["kerma"]
	if minutes := n["minutes"]; minutes != nil {
		if kerma != nil || n["rate"] == nil {
			return ask, "plan.either"
		}
		gy := *minutes * *n["rate"] / 1000
		kerma, d.Minutes = &gy, true
	}
	d.Kerma = quantity.ShowKerma(quantity.Gray(*kerma))
	ask.Grid = &struct {
		KermaGy float64 `json:"kerma_gy"`
	}{*kerma}
	ask.FieldMm, ask.DetectorMm, ask.TableDepthMm = mm(n["field"]), mm(n["detector"]), mm(n["table"])
	if place := d.Asked["place"]; place != "" {
		one := httpapi.BeamPlanRequestPlace(place)
		ask.Place = &one
	}
	return ask, ""
}

// mm gives in mm what people write in cm.
func mm(cm *float64) *float64 {
	if cm == nil {
		return nil
	}
	x := *cm * 10
	return &x
}

// planRefused shows the form again with why there is no answer; what is no matter of the question goes on.
func (v *view) planRefused(d planData, err error) (any, error) {
	key := map[int]string{
		http.StatusBadRequest: "plan.out_of_range", http.StatusConflict: "plan.no_map", http.StatusUnprocessableEntity: "plan.no_skin",
		http.StatusServiceUnavailable: "plan.busy",
	}[statusOf(err)]
	var f *failure
	if key == "" || !errors.As(err, &f) {
		return nil, err
	}
	d.Wrong = v.lang.Text(key)
	return shown{f.status, d}, nil
}

// planned prints an answer: the picture, and a table with the same numbers.
func (v *view) planned(doc outlook.Document) (*planAnswer, error) {
	a := &planAnswer{Document: doc, Peak: gray(doc.Earlier.PeakGy)}
	if doc.Earlier.Unmapped > 0 {
		a.Elsewhere = gray(doc.Earlier.ElsewhereGy)
	}
	var drawn bytes.Buffer
	if err := doc.Picture("").SVG(&drawn); err != nil {
		return nil, err
	}
	a.Picture = inline(drawn.Bytes())
	for _, p := range doc.Grid.Primary {
		a.Primary = append(a.Primary, v.sideOf(p, "plan.rao", "plan.lao"))
	}
	var least, most *outlook.Beam
	for j, s := range doc.Grid.Secondary {
		row := planRow{Secondary: v.sideOf(s, "plan.caudal", "plan.cranial")}
		for i := range doc.Grid.Primary {
			o := doc.Grid.Outlooks[i][j]
			if o == nil {
				row.Cells = append(row.Cells, planCell{})
				continue
			}
			row.Cells = append(row.Cells, planCell{After: skinmap.InGray(o.AfterGy), Adds: skinmap.InGray(o.AddsGy)})
			if least == nil || o.AfterGy < least.AfterGy {
				least = o
			}
			if most == nil || o.AfterGy > most.AfterGy {
				most = o
			}
		}
		a.Rows = append(a.Rows, row)
	}
	if least != nil {
		a.Least, a.LeastDirection = gray(least.AfterGy), v.direction(least.Direction)
		a.Most, a.MostDirection = gray(most.AfterGy), v.direction(most.Direction)
	}
	return a, nil
}

func gray(d quantity.Gray) string { return skinmap.InGray(d) + " Gy" }

// sideOf names an angle by its side.
func (v *view) sideOf(a quantity.Degree, below, above string) string {
	words := quantity.Fixed(math.Abs(float64(a)), 0) + "°"
	switch {
	case a < 0:
		return v.lang.Text(below) + " " + words
	case a > 0:
		return v.lang.Text(above) + " " + words
	}
	return words
}

func (v *view) direction(d skindose.Direction) string {
	return v.sideOf(d.Primary, "plan.rao", "plan.lao") + " / " + v.sideOf(d.Secondary, "plan.caudal", "plan.cranial")
}

var (
	styles = regexp.MustCompile(`\sstyle="([^"]*)"`)
	prolog = regexp.MustCompile(`(?s)^.*?<svg`)
)

// inline turns a drawing of the program's own into a part of the page: a page loads no style that stands in an attribute, so that
// each becomes attributes of its own (SVG 2, 6.6).
func inline(drawing []byte) template.HTML {
	drawing = prolog.ReplaceAll(drawing, []byte("<svg"))
	drawing = styles.ReplaceAllFunc(drawing, func(style []byte) []byte {
		var out bytes.Buffer
		for one := range strings.SplitSeq(string(styles.FindSubmatch(style)[1]), ";") {
			if name, value, ok := strings.Cut(one, ":"); ok {
				out.WriteString(" " + strings.TrimSpace(name) + `="` + strings.TrimSpace(value) + `"`)
			}
		}
		return out.Bytes()
	})
	return template.HTML(drawing) //nolint:gosec // drawn by skinmap, which escapes words
}
