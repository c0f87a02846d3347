package assessment

import (
	"cmp"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
)

// The number of samples of a range that somebody may choose: fewer than the least say nothing of the width (with 32 it is
// within 15 %), more than the most change nothing.
const (
	LeastPoints = 16
	MostPoints  = 4096
)

// Method is everything besides the procedure that decides an assessment.
type Method struct {
	Lexicon  *lexicon.Lexicon
	Levels   level.Set
	Profiles []procedure.DeviceProfile
	// MaxPatch is the largest patch of skin in cm2; 0 is the default.
	MaxPatch float64
	// RangePoints is how many samples a range of skin dose is made from; 0 is the default.
	RangePoints int
	// Skull lowers the backscatter of the head as bone under thin skin does; off, the head scatters like water.
	Skull bool
}

// Default is the method of a new site: embedded lexicon and levels, no device profiles.
func Default() Method { return Method{Lexicon: lexicon.Default(), Levels: level.Default()} }

// Assessment is one procedure with its estimates and levels.
type Assessment struct {
	Procedure procedure.Procedure
	Facts     procedure.Facts
	Class     lexicon.Class
	Profile   procedure.DeviceProfile // the zero profile is an unknown device
	Dose      procedure.CaseDose
	SkinDose  skindose.Estimate
	Effective effective.Estimate
	Levels    level.Evaluation
}

// Assess estimates a procedure and compares it with the levels. It never fails: what is missing is a reason in the
// result.
func (m Method) Assess(p procedure.Procedure, facts procedure.Facts) Assessment {
	a := m.classified(p, facts)
	p = a.Procedure
	a.SkinDose = m.skinDose(a)
	a.Effective = effective.Dose(effective.Input{
		Procedure: p, Facts: facts, Region: a.Class.DoseRegion, EventRegion: lexicon.DoseRegionOf, KAPFactor: a.kapFactor(),
	})
	a.Levels = level.Evaluate(m.Levels, a.levelInput())
	return a
}

// classified is the assessment before anything is estimated.
func (m Method) classified(p procedure.Procedure, facts procedure.Facts) Assessment {
	a := Assessment{Facts: facts, Profile: m.profile(p), Dose: p.CaseDose()}
	match := m.classify(p, facts)
	a.Class = match.Class
	if years, ok := p.Patient.AgeYears.Get(); ok {
		p.Patient.AgeYears = quantity.Some(procedure.ToldAge(years))
	}
	p.Class, p.Region, p.Complexity, p.ClassFrom = match.Class.ID, match.Class.DoseRegion, match.Complexity, match.From
	a.Procedure = p
	return a
}

// classify gives the class that a person said, else that of the lexicon.
func (m Method) classify(p procedure.Procedure, facts procedure.Facts) lexicon.Match {
	if facts.Class != "" {
		return lexicon.Match{Class: lexicon.ClassOf(facts.Class), From: "given by a person"}
	}
	return m.Lexicon.Classify(p)
}

// skinDose estimates the peak skin dose of a patient; a test object has none.
func (m Method) skinDose(a Assessment) skindose.Estimate {
	if a.Procedure.Purpose == procedure.PurposeQualityControl {
		return skindose.Estimate{Method: skindose.MethodNone, Version: skindose.Version, Reason: "the report is about a test object, not a patient"}
	}
	return skindose.Evaluate(m.skinInput(a))
}

func (m Method) skinInput(a Assessment) skindose.Input {
	return skindose.Input{
		Procedure: a.Procedure, Profile: a.Profile, Facts: a.Facts, Group: a.Class.Group, Site: a.Class.Place, EventSite: lexicon.PlaceOf, MaxPatch: m.MaxPatch, RangePoints: m.RangePoints, Skull: m.Skull,
	}
}

// profile gives the newest profile of the procedure's device that held on its day.
func (m Method) profile(p procedure.Procedure) procedure.DeviceProfile {
	var newest procedure.DeviceProfile
	day := p.Start.LocalDate()
	for _, d := range m.Profiles {
		if d.Device == p.DeviceKey && d.From <= day && (newest.Device == "" || cmp.Compare(d.From, newest.From) >= 0) {
			newest = d
		}
	}
	return newest
}

func (a Assessment) kapFactor() quantity.Opt[procedure.Factor] { return signed(a.Profile.KAPFactor, a) }

// signed gives a factor of the profile when it was in date on the day of the procedure.
func signed(factor quantity.Opt[procedure.Factor], a Assessment) quantity.Opt[procedure.Factor] {
	f, ok := factor.Get()
	day := a.Procedure.Start.LocalDate()
	if !ok || !f.Believable() || a.Profile.SignedBy == "" || (f.From != "" && day < f.From) || (f.Until != "" && (day == "" || day > f.Until)) {
		return quantity.None[procedure.Factor]()
	}
	return factor
}

// display gives the value of a signed factor that concerns the display alone: one measured behind the table is no
// factor of what is displayed.
func display(factor quantity.Opt[procedure.Factor]) quantity.Opt[float64] {
	f, ok := factor.Get()
	if !ok || f.IncludesTable {
		return quantity.None[float64]()
	}
	return quantity.Some(f.Value)
}

// who tells whom rules of levels are asked about; a fact that a person added goes before the report.
func (a Assessment) who() level.Who {
	w := level.Who{Class: a.Class.ID, Age: a.Procedure.Patient.AgeYears, Pregnant: a.Procedure.Patient.MayBePregnant()}
	if a.Facts.AgeYears.Present() {
		w.Age = a.Facts.AgeYears
	}
	return w
}

func (a Assessment) levelInput() level.Input {
	in := level.Input{
		PSDReason: a.SkinDose.Reason, Dose: a.Dose, Planes: a.Procedure.Planes(),
		KermaFactor: display(signed(a.Profile.KermaFactor, a)), KAPFactor: display(a.kapFactor()), FieldAtSkin: a.SkinDose.FieldAtSkin,
		QualityControl: a.Procedure.Purpose == procedure.PurposeQualityControl, Who: a.who(),
	}
	if value, ok := a.SkinDose.Value.Get(); ok {
		in.PSD = quantity.Some(level.Estimated{
			Value: value, High: a.SkinDose.High.Or(value), Method: string(a.SkinDose.Method), LowerBound: a.SkinDose.LowerBound,
		})
	}
	return in
}
