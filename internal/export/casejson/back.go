package casejson

import (
	"fmt"
	"regexp"
	"slices"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
)

// Kept is what is kept of an assessment beside its Case.
type Kept struct {
	Procedure procedure.Procedure
	Facts     procedure.Facts
	// Map is the skin dose map, nil for none.
	Map *skindose.Map
}

// Assessment gives back the assessment that a case was made of, without estimating anything anew: its numbers are those of
// the case. levels are the rows whose steps the case leaves out.
func (c Case) Assessment(k Kept, levels level.Set) (assessment.Assessment, error) {
	a := assessment.Assessment{
		Procedure: k.Procedure, Facts: k.Facts, Class: lexicon.ClassOf(c.Procedure.Class), Profile: c.Procedure.profile(), Dose: k.Procedure.CaseDose(),
	}
	var err error
	if a.SkinDose, err = c.skinDose(k); err != nil {
		return a, err
	}
	if a.Effective, err = c.Effective.estimate(); err != nil {
		return a, err
	}
	a.Levels, err = c.Levels.evaluation(levels)
	return a, err
}

// profileWords are those that procedureOf writes.
var profileWords = regexp.MustCompile(`^(.*) of (\d{4}-\d{2}-\d{2}), signed by (.*)$`)

func (p Procedure) profile() procedure.DeviceProfile {
	m := profileWords.FindStringSubmatch(p.Profile)
	if m == nil {
		return procedure.DeviceProfile{}
	}
	d := procedure.DeviceProfile{Device: p.Device, Name: m[1], From: m[2], SignedBy: m[3]}
	if d.SignedBy == orDash("") {
		d.SignedBy = ""
	}
	return d
}

// of gives a plain number its unit again.
func of[T ~float64](n number, size T) quantity.Opt[T] {
	v, ok := n.Get()
	if !ok {
		return quantity.None[T]()
	}
	return quantity.Some(T(v) * size)
}

func (c Case) skinDose(k Kept) (skindose.Estimate, error) {
	s := c.SkinDose
	e := skindose.Estimate{
		Method: skindose.Method(s.Method), Version: s.Version, Value: of[quantity.Gray](s.ValueGy, 1), Low: of[quantity.Gray](s.LowGy, 1), High: of[quantity.Gray](s.HighGy, 1),
		LowerBound: s.LowerBound, Reason: s.Reason, Assumptions: s.Assumptions, InputsUsed: s.Inputs, Sources: s.Sources, Map: k.Map,
		FinePeak: of[quantity.Gray](s.FinePeakGy, 1), KermaWithoutGeometry: of[quantity.Ratio](s.KermaWithoutGeometry, 1), FieldAtSkin: of(s.FieldAtSkinCm2, quantity.SquareCentimetre),
		HighForMissing: quantity.Gray(s.Range.ForMissingGy.Or(0)), Sampling: s.Range.sampling(),
	}
	for e.Class = skindose.Controlled; e.Class.String() != s.Knowledge; e.Class++ {
		if e.Class > skindose.LittleKnown {
			return e, fmt.Errorf("case of %s: no class of inputs %q", c.Procedure.StudyUID, s.Knowledge)
		}
	}
	for _, p := range s.Parts {
		e.Parts = append(e.Parts, skindose.Part{Name: p.Name, Percent: quantity.Percent(p.Percent), Words: p.Words})
	}
	for _, one := range s.Contributions {
		at := slices.IndexFunc(k.Procedure.Events, func(e procedure.Event) bool { return e.Place == one.Event && e.UID == one.UID })
		if at < 0 {
			return e, fmt.Errorf("case of %s: an event at the peak is none of its events", c.Procedure.StudyUID)
		}
		e.Contributions = append(e.Contributions, skindose.Contribution{Event: at, Dose: quantity.Gray(one.DoseGy.Or(0)), Share: one.Share})
	}
	if own := len(k.Procedure.Findings); len(c.Findings) > own {
		for _, f := range c.Findings[own:] {
			severity, err := severityOf(f.Severity)
			if err != nil {
				return e, err
			}
			e.Findings = append(e.Findings, procedure.Finding{Rule: f.Rule, Severity: severity, Place: f.Place, Text: f.Text})
		}
	}
	if k.Map != nil && k.Map.Peak >= 0 {
		e.Peak = skindose.PlaceOf(k.Map.Body, k.Map.Peak)
	}
	return e, nil
}

func severityOf(name string) (procedure.Severity, error) {
	for _, s := range []procedure.Severity{procedure.Note, procedure.Repaired, procedure.Reduced, procedure.Suspect, procedure.Refused} {
		if s.String() == name {
			return s, nil
		}
	}
	return procedure.Note, fmt.Errorf("no severity %q", name)
}

func (r Range) sampling() *skindose.Sampling {
	if r.Points == 0 && r.Missed == 0 {
		return nil
	}
	gy := func(n number) quantity.Gray { return quantity.Gray(n.Or(0)) }
	s := &skindose.Sampling{Points: r.Points, Missed: r.Missed, Seed: r.Seed, Median: gy(r.MedianGy), Low: gy(r.LowGy), High: gy(r.HighGy), Together: r.Together}
	for _, f := range r.Inputs {
		s.Influences = append(s.Influences, skindose.Influence{Name: f.Name, Varied: f.Varied, Percent: quantity.Percent(f.Percent), Share: f.Share})
	}
	for _, one := range r.Convergence {
		s.Convergence = append(s.Convergence, skindose.Step{Points: one.Points, Low: gy(one.LowGy), High: gy(one.HighGy)})
	}
	return s
}

func (f Effective) estimate() (effective.Estimate, error) {
	e := effective.Estimate{
		Version: f.Version, Method: f.Method, Value: of(f.ValueMSv, quantity.MilliSievert), Low: of(f.LowMSv, quantity.MilliSievert), High: of(f.HighMSv, quantity.MilliSievert),
		Reason: f.Reason, Covered: of[quantity.Percent](f.CoveredPct, 1), Assumptions: f.Assumptions, Sources: f.Sources, Caution: f.Caution,
	}
	for _, p := range f.Parts {
		sets := []effective.WeightSet{effective.WeightsUnknown, effective.ICRP60, effective.ICRP103}
		at := slices.IndexFunc(sets, func(w effective.WeightSet) bool { return w.String() == p.Weights })
		if at < 0 {
			return e, fmt.Errorf("no set of tissue weights %q", p.Weights)
		}
		e.Parts = append(e.Parts, effective.Part{
			Region: p.Region, Filter: p.Filter, FromTotals: p.FromTotals, KAP: of(p.KAPGycm2, quantity.GraySquareCentimetre).Or(0), Coefficient: effective.Coefficient(p.MSvPerGycm2),
			Low: effective.Coefficient(p.LowMSvPerGycm2), High: effective.Coefficient(p.HighMSvPerGycm2), Weights: sets[at], Known: p.CoefficientKnown, Source: p.CoefficientSource,
		})
	}
	return e, nil
}

func (l Levels) evaluation(rows level.Set) (level.Evaluation, error) {
	e := level.Evaluation{Reasons: l.Reasons, Notes: l.Notes}
	var err error
	if e.State, err = stateOf(l.State); err != nil {
		return e, err
	}
	if b, ok := level.BandNamed(l.Band); ok {
		e.Band = quantity.Some(b)
	}
	if b, ok := level.BandNamed(l.HighBand); ok {
		e.HighBand = quantity.Some(b)
	}
	for _, r := range l.Results {
		state, err := stateOf(r.State)
		if err != nil {
			return e, err
		}
		q := level.Quantity(r.Quantity)
		_, size := q.Unit()
		row := level.Row{Scheme: r.Scheme, Title: r.Title, ID: r.ID, Meaning: r.Meaning, Quantity: q, Value: r.Level * size, On: true, Source: r.Source, Known: r.Known}
		if at := slices.IndexFunc(rows.Rows, func(x level.Row) bool { return x.Scheme == r.Scheme && x.ID == r.ID && x.Quantity == q }); at >= 0 {
			row.Value, row.Step, row.Text = rows.Rows[at].Value, rows.Rows[at].Step, rows.Rows[at].Text
		}
		one := level.Result{Row: row, State: state, Level: r.Level * size, Basis: r.Basis, Text: r.Text, Value: of(r.Value, size)}
		for _, p := range r.Passed {
			one.Passed = append(one.Passed, p*size)
		}
		e.Results = append(e.Results, one)
	}
	return e, nil
}

func stateOf(name string) (level.State, error) {
	for _, s := range []level.State{level.Reached, level.Near, level.Unknown, level.Below, level.NoFlag} {
		if s.String() == name {
			return s, nil
		}
	}
	return level.Unknown, fmt.Errorf("no state of levels %q", name)
}
