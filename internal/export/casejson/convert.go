package casejson

import (
	"encoding/json"
	"math"
	"time"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Marshal writes one assessment.
func Marshal(a assessment.Assessment) ([]byte, error) { return json.Marshal(Of(a)) }

// Of gives one assessment in the form of the schema.
func Of(a assessment.Assessment) Case {
	return Case{
		Schema: Schema, Procedure: procedureOf(a), Dose: doseOf(a), SkinDose: skinDoseOf(a), Effective: effectiveOf(a),
		Levels: LevelsOf(a.Levels), Findings: FindingsOf(a.Procedure.Findings, a.SkinDose.Findings), Caution: Caution,
	}
}

func procedureOf(a assessment.Assessment) Procedure {
	p := a.Procedure
	purpose := "patient"
	if p.Purpose == procedure.PurposeQualityControl {
		purpose = "quality control"
	}
	start := ""
	if !p.Start.IsZero() {
		start = p.Start.Time.Format(time.RFC3339)
	}
	profile := "none: unknown device"
	if a.Profile.Device != "" {
		profile = a.Profile.Name + " of " + a.Profile.From + ", signed by " + orDash(a.Profile.SignedBy)
	}
	return Procedure{
		StudyUID: p.StudyUID, Device: p.DeviceKey, Room: p.Device.Room, Description: p.Study.Description, Start: start, State: p.State.String(),
		Purpose: purpose, Class: p.Class, ClassTitle: a.Class.Title, ClassFrom: p.ClassFrom, Complexity: p.Complexity, Region: p.Region,
		Patient: patientOf(p.Patient, a.Facts), Given: given(a.Facts), Profile: profile, Events: len(p.Events), Superseded: len(p.Superseded),
		Reports: list(p.ReportUIDs), Linked: list(p.Linked),
	}
}

func patientOf(p procedure.Patient, f procedure.Facts) Patient {
	return Patient{
		AgeYears: first(f.AgeYears, p.AgeYears), Sex: pick(f.Sex, p.Sex),
		HeightCm: in(first(f.Height, p.Height), quantity.Centimetre), WeightKg: in(first(f.Weight, p.Weight), 1.0),
	}
}

// given names what a person said in place of the report.
func given(f procedure.Facts) []string {
	names := []string{}
	for _, one := range []struct {
		name string
		said bool
	}{
		{"height", f.Height.Present()},
		{"weight", f.Weight.Present()},
		{"age", f.AgeYears.Present()},
		{"sex", f.Sex != ""},
		{"class", f.Class != ""},
		{"direction", f.Direction != procedure.DirectionUnknown},
		{"posture", f.Posture != procedure.PostureUnknown},
		{"arms", f.Arms != procedure.ArmsUnknown},
		{"table offset", f.TableOffset.Present()},
		{"thickness", f.PatientThickness.Present()},
	} {
		if one.said {
			names = append(names, one.name)
		}
	}
	return names
}

// notBelieved names the dose quantities of a case that contradict others.
func notBelieved(s procedure.Suspicion) []string {
	names := []string{}
	if s.Has(procedure.SuspectKerma) {
		names = append(names, "kerma")
	}
	if s.Has(procedure.SuspectKAP) {
		names = append(names, "kap")
	}
	return names
}

func doseOf(a assessment.Assessment) Dose {
	d := Dose{
		KermaGy: in(a.Dose.Kerma, 1.0), KermaLeastGy: in(a.Dose.LeastKerma, 1.0), KermaMissing: list(a.Dose.KermaMissing),
		KAPGycm2: in(a.Dose.KAP, quantity.GraySquareCentimetre), KAPLeastGycm2: in(a.Dose.LeastKAP, quantity.GraySquareCentimetre),
		KAPMissing:     list(a.Dose.KAPMissing),
		FluoroscopyMin: in(a.Dose.FluoroTime, quantity.Minute), FluoroscopyLeastMin: in(a.Dose.LeastTime, quantity.Minute),
		FluoroscopyMissing: list(a.Dose.TimeMissing), NotBelieved: notBelieved(a.Dose.Suspicion), Planes: []Plane{},
	}
	for _, p := range a.Procedure.Planes() {
		d.Planes = append(d.Planes, Plane{
			Plane: p.Plane.String(), TotalKermaGy: in(p.TotalKerma, 1.0), EventsKermaGy: in(p.SumKerma, 1.0),
			TotalKAPGycm2: in(p.TotalKAP, quantity.GraySquareCentimetre), EventsKAPGycm2: in(p.SumKAP, quantity.GraySquareCentimetre),
			FluoroscopyMin: in(p.FluoroTime, quantity.Minute),
		})
	}
	return d
}

// areaLevels are the doses for which the irradiated skin area is given.
func areaLevels() []quantity.Gray { return []quantity.Gray{1, 2, 3, 5, 10, 15} }

func skinDoseOf(a assessment.Assessment) SkinDose {
	e := a.SkinDose
	s := SkinDose{
		Method: string(e.Method), Version: e.Version, ValueGy: in(e.Value, 1.0), LowGy: in(e.Low, 1.0), HighGy: in(e.High, 1.0), LowerBound: e.LowerBound,
		Knowledge: e.Class.String(), Parts: []Part{}, Place: e.Peak.String(), AreaAbove: []Area{}, Contributions: []Contribution{},
		KermaWithoutGeometry: in(e.KermaWithoutGeometry, 1.0), FieldAtSkinCm2: in(e.FieldAtSkin, quantity.SquareCentimetre), Reason: e.Reason,
		Assumptions: list(e.Assumptions), Inputs: list(e.InputsUsed), Sources: list(e.Sources), Published: []Published{},
	}
	for _, c := range e.Published {
		s.Published = append(s.Published, Published{
			ValueGy: in(quantity.Some(c.Value), 1.0), LowGy: in(c.Low, 1.0), HighGy: in(c.High, 1.0), Text: c.String(), Source: c.Relation.Source, Known: c.Relation.Known,
		})
	}
	for _, p := range e.Parts {
		s.Parts = append(s.Parts, Part{Name: p.Name, Percent: float64(p.Percent), Words: p.Words})
	}
	s.Range, s.FinePeakGy = rangeOf(e), in(e.FinePeak, 1.0)
	if e.Map != nil {
		for _, gy := range areaLevels() {
			if area := e.Map.AreaAbove(gy); area > 0 {
				s.AreaAbove = append(s.AreaAbove, Area{Gy: float64(gy), Cm2: area.Cm2()})
			}
		}
	}
	for _, c := range e.Contributions {
		event := a.Procedure.Events[c.Event]
		s.Contributions = append(s.Contributions, Contribution{Event: event.Place, UID: event.UID, DoseGy: in(quantity.Some(c.Dose), 1.0), Share: c.Share})
	}
	return s
}

func rangeOf(e skindose.Estimate) Range {
	out := Range{Inputs: []Influence{}, Convergence: []Step{}}
	s := e.Sampling
	if s == nil {
		return out
	}
	gy := func(v quantity.Gray) number { return in(quantity.Some(v), 1.0) }
	out.Points, out.Missed, out.Seed, out.Together = s.Points, s.Missed, s.Seed, s.Together
	out.MedianGy, out.LowGy, out.HighGy, out.ForMissingGy = gy(s.Median), gy(s.Low), gy(s.High), gy(e.HighForMissing)
	for _, f := range s.Influences {
		out.Inputs = append(out.Inputs, Influence{Name: f.Name, Varied: f.Varied, Percent: float64(f.Percent), Share: f.Share})
	}
	for _, c := range s.Convergence {
		out.Convergence = append(out.Convergence, Step{Points: c.Points, LowGy: gy(c.Low), HighGy: gy(c.High)})
	}
	return out
}

func effectiveOf(a assessment.Assessment) Effective {
	e := a.Effective
	out := Effective{
		Method: e.Method, Version: e.Version, ValueMSv: in(e.Value, quantity.MilliSievert), LowMSv: in(e.Low, quantity.MilliSievert),
		HighMSv: in(e.High, quantity.MilliSievert), CoveredPct: in(e.Covered, 1.0), Reason: e.Reason, Parts: []Share{},
		Assumptions: list(e.Assumptions), Sources: list(e.Sources), Caution: e.Caution,
	}
	for _, p := range e.Parts {
		out.Parts = append(out.Parts, Share{
			Region: p.Region, Filter: p.Filter, KAPGycm2: in(quantity.Some(p.KAP), quantity.GraySquareCentimetre), MSvPerGycm2: float64(p.Coefficient), LowMSvPerGycm2: float64(p.Low),
			HighMSvPerGycm2: float64(p.High), Weights: p.Weights.String(), CoefficientKnown: p.Known, CoefficientSource: p.Source, FromTotals: p.FromTotals,
		})
	}
	return out
}

// LevelsOf gives an evaluation in the form of the schema.
func LevelsOf(e level.Evaluation) Levels {
	l := Levels{State: e.State.String(), Reasons: list(e.Reasons), Notes: list(e.Notes), Results: []Result{}}
	if b, ok := e.Band.Get(); ok {
		l.Band = b.Name
		l.BandText = "prompt: " + b.Prompt + "; early: " + b.Early + "; midterm: " + b.Midterm + "; long term: " + b.LongTerm + ". " + level.BandSource
	}
	if b, ok := e.HighBand.Get(); ok {
		l.HighBand = b.Name
	}
	for _, r := range e.Results {
		unit, size := r.Row.Quantity.Unit()
		passed := []float64{}
		for _, p := range r.Passed {
			passed = append(passed, p/size)
		}
		l.Results = append(l.Results, Result{
			Scheme: r.Row.Scheme, ID: r.Row.ID, Title: r.Row.Title, Meaning: r.Row.Meaning, Quantity: string(r.Row.Quantity), Unit: unit,
			State: r.State.String(), Value: in(r.Value, size), Level: r.Level / size, Margin: in(r.Margin(), size), Passed: passed,
			Basis: r.Basis, Text: r.Text, Source: r.Row.Source, Known: r.Row.Known,
		})
	}
	return l
}

// FindingsOf joins lists of findings.
func FindingsOf(lists ...[]procedure.Finding) []Finding {
	out := []Finding{}
	for _, l := range lists {
		for _, f := range l {
			out = append(out, Finding{Rule: f.Rule, Severity: f.Severity.String(), Place: f.Place, Text: f.Text})
		}
	}
	return out
}

// SumOf gives the sum of a window for the patient named by a key that tells nothing.
func SumOf(patient string, s assessment.Sum) Sum {
	return Sum{
		Patient: patient, Days: s.Days, From: s.From, To: s.To, Procedures: s.Procedures,
		KermaGy: in(s.Kerma.Value, 1.0), KermaFrom: s.Kerma.From, KAPGycm2: in(s.KAP.Value, quantity.GraySquareCentimetre), KAPFrom: s.KAP.From,
		FluoroscopyMin: in(s.FluoroTime.Value, quantity.Minute), FluoroscopyFrom: s.FluoroTime.From,
		EffectiveMSv: in(s.Effective.Value, quantity.MilliSievert), EffectiveLowMSv: in(s.EffectiveLow.Value, quantity.MilliSievert),
		EffectiveHighMSv: in(s.EffectiveHigh.Value, quantity.MilliSievert), EffectiveFrom: s.Effective.From,
		PeakSkinMethod: string(s.SkinDose.Method), PeakSkinGy: in(s.SkinDose.Value, 1.0), PeakSkinLowGy: in(s.SkinDose.Low, 1.0),
		PeakSkinHighGy: in(s.SkinDose.High, 1.0), UpperBound: s.SkinDose.UpperBound, LowerBound: s.SkinDose.LowerBound,
		Reason: s.SkinDose.Reason, Place: s.SkinDose.Peak.String(), Levels: LevelsOf(s.Levels),
	}
}

// in gives a value as a plain number in a unit of the given size. What JSON cannot write as a number is absent.
func in[T ~float64, S ~float64](o quantity.Opt[T], size S) number {
	v, ok := o.Get()
	x := float64(v) / float64(size)
	if !ok || math.IsNaN(x) || math.IsInf(x, 0) {
		return quantity.None[float64]()
	}
	return quantity.Some(x)
}

// first gives the person's value before the report's.
func first[T any](fact, reported quantity.Opt[T]) quantity.Opt[T] {
	if fact.Present() {
		return fact
	}
	return reported
}

func pick(fact, reported string) string {
	if fact != "" {
		return fact
	}
	return reported
}

func orDash(s string) string {
	if s == "" {
		return "nobody"
	}
	return s
}

// list gives an empty list for nil, so that readers need not tell null from empty.
func list(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}
