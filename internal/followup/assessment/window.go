package assessment

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Windows are the lengths in days over which the doses of a patient are added up, all time aside.
// Source: 60 days, SIR 2009 (Stecker et al, J Vasc Interv Radiol 20:S263; memory); 180 and 365 days, the former
// reviewable event of the Joint Commission, 6 to 12 months (read).
func Windows() []int { return []int{60, 180, 365} }

// Delivered is what one procedure gave, as far as a sum over procedures needs it.
type Delivered struct {
	// Key names the procedure where it is asked for with others, see SumLaid.
	Key            string
	LocalDate      string // 2006-01-02
	QualityControl bool
	Dose           procedure.CaseDose
	// PSD is the estimate with its range; Map is there when the sum may add maps patch by patch.
	PSD                                    skindose.Estimate
	Effective, EffectiveLow, EffectiveHigh quantity.Opt[quantity.Sievert]
	EffectiveMethod                        string
	// KermaFactor and KAPFactor are signed factors in date.
	KermaFactor, KAPFactor quantity.Opt[float64]
	// Who is asked by rules of levels, as far as it is known.
	Who level.Who
}

// Delivered gives what the assessment's procedure gave.
func (a Assessment) Delivered() Delivered {
	in := a.levelInput()
	return Delivered{
		LocalDate: a.Procedure.Start.LocalDate(), QualityControl: in.QualityControl, Dose: a.Dose, PSD: a.SkinDose,
		Effective: a.Effective.Value, EffectiveLow: a.Effective.Low, EffectiveHigh: a.Effective.High,
		EffectiveMethod: a.Effective.Method, KermaFactor: in.KermaFactor, KAPFactor: in.KAPFactor, Who: in.Who,
	}
}

// Total is a sum with the number of procedures that are in it; absent when none is.
type Total[T ~float64] struct {
	Value quantity.Opt[T]
	From  int
}

func (t *Total[T]) add(v quantity.Opt[T]) {
	if x, ok := v.Get(); ok {
		t.Value = quantity.Some(t.Value.Or(0) + x)
		t.From++
	}
}

// Sum is what several procedures of one patient gave in a window: a plain sum without biological repair.
type Sum struct {
	Days                                   int // 0 is all time
	From, To                               string
	Procedures                             int
	Kerma                                  Total[quantity.Gray]
	KAP                                    Total[quantity.GraySquareMetre]
	FluoroTime                             Total[quantity.Second]
	Effective, EffectiveLow, EffectiveHigh Total[quantity.Sievert]
	EffectiveMethods                       []string // of the estimates in the sum, each once, in the order of the alphabet
	SkinDose                               skindose.Sum
	// KermaLacks, KAPLacks and TimeLacks tell that a procedure's quantity is missing or incomplete, so that the sum is a
	// lower bound.
	KermaLacks, KAPLacks, TimeLacks bool
	Levels                          level.Evaluation
	// Laid is what the procedures left on the skin of one body, where that is known. ByLaid tells that it, and not SkinDose,
	// was compared with the levels.
	Laid   quantity.Opt[Laid]
	ByLaid bool
}

// Sum adds up the procedures of one patient on the days of a window that ends on a local day; days 0 is all time. Test
// objects count nowhere. Levels are compared with the sum as with a single case.
func (m Method) Sum(all []Delivered, days int, to string) Sum { return m.SumLaid(all, days, to, nil) }

// SumLaid is Sum where what the procedures of a window left on one body may be known, by their keys. The levels are compared
// with that when every procedure with an estimate has a map, else with the peaks added.
func (m Method) SumLaid(all []Delivered, days int, to string, known func(keys []string) (Laid, bool)) Sum {
	s := Sum{Days: days, To: to, From: firstDay(days, to)}
	var in level.Input
	in.Dose = procedure.CaseDose{
		Kerma: quantity.Some[quantity.Gray](0), KAP: quantity.Some[quantity.GraySquareMetre](0), FluoroTime: quantity.Some[quantity.Second](0),
	}
	var area fields
	undated := 0
	kept := within(all, s.From, to)
	psds := make([]skindose.Estimate, 0, len(kept))
	for _, d := range kept {
		s.Procedures++
		if d.LocalDate == "" {
			undated++
		}
		area.add(least(d.Dose.LeastKAP, d.KAPFactor), d.PSD.FieldAtSkin)
		s.Kerma.add(least(d.Dose.LeastKerma, d.KermaFactor))
		s.KAP.add(least(d.Dose.LeastKAP, d.KAPFactor))
		s.FluoroTime.add(d.Dose.LeastTime)
		s.Effective.add(d.Effective)
		if d.Effective.Present() && !slices.Contains(s.EffectiveMethods, d.EffectiveMethod) {
			s.EffectiveMethods = append(s.EffectiveMethods, d.EffectiveMethod)
		}
		s.EffectiveLow.add(d.EffectiveLow)
		s.EffectiveHigh.add(d.EffectiveHigh)
		psds = append(psds, d.PSD)
		join(&in.Dose.Kerma, &in.Dose.KermaMissing, d.Dose.Kerma, d)
		join(&in.Dose.KAP, &in.Dose.KAPMissing, d.Dose.KAP, d)
		join(&in.Dose.FluoroTime, &in.Dose.TimeMissing, d.Dose.FluoroTime, d)
		in.Dose.Suspicion |= d.Dose.Suspicion
	}
	slices.Sort(s.EffectiveMethods)
	in.Dose.LeastKerma, in.Dose.LeastKAP, in.Dose.LeastTime = s.Kerma.Value, s.KAP.Value, s.FluoroTime.Value
	s.KermaLacks, s.KAPLacks, s.TimeLacks = !in.Dose.Kerma.Present(), !in.Dose.KAP.Present(), !in.Dose.FluoroTime.Present()
	s.SkinDose = skindose.Together(psds...)
	s.lay(kept, known)
	if value, ok := s.SkinDose.Value.Get(); ok {
		in.PSD = quantity.Some(level.Estimated{
			Value: value, High: s.SkinDose.High.Or(value), Method: string(s.SkinDose.Method), LowerBound: s.SkinDose.LowerBound,
		})
	}
	if s.ByLaid {
		in.PSD = quantity.Some(s.Laid.Or(Laid{}).compared(s.SkinDose))
	}
	in.PSDReason = s.SkinDose.Reason
	in.Who = together(kept)
	in.FieldAtSkin = area.mean()
	if s.Procedures == 0 {
		s.Levels = level.Evaluation{State: level.NoFlag, Notes: []string{"no procedure of a patient in this window"}}
		return s
	}
	s.Levels = level.Evaluate(m.Levels, in)
	if undated > 0 {
		s.Levels.Notes = append(s.Levels.Notes, fmt.Sprintf("%d procedures without a date are counted: they may lie in this window", undated))
	}
	return s
}

// together tells whom the rules of levels are asked about over several procedures: the class that all of them have, the
// highest age that is known of any, and a pregnancy that any of them knows of.
func together(kept []*Delivered) level.Who {
	w := level.Who{Several: len(kept) > 1}
	for i, d := range kept {
		if i == 0 {
			w.Class = d.Who.Class
		} else if w.Class != d.Who.Class {
			w.Class = ""
		}
		if age, ok := d.Who.Age.Get(); ok && age >= w.Age.Or(0) {
			w.Age = d.Who.Age
		}
		w.Pregnant = w.Pregnant || d.Who.Pregnant
	}
	return w
}

// Keys gives the keys of the procedures that are in a window, as SumLaid asks for them.
func Keys(all []Delivered, days int, to string) []string {
	return keysOf(within(all, firstDay(days, to), to))
}

func keysOf(kept []*Delivered) []string {
	keys := make([]string, len(kept))
	for i, d := range kept {
		keys[i] = d.Key
	}
	return keys
}

// lay asks what the procedures of the window left on one body.
func (s *Sum) lay(kept []*Delivered, known func(keys []string) (Laid, bool)) {
	if known == nil || len(kept) == 0 {
		return
	}
	if laid, ok := known(keysOf(kept)); ok {
		s.Laid, s.ByLaid = quantity.Some(laid), laid.whole()
	}
}

// EffectiveWords says how the sum of effective doses came about, and of how many procedures.
func (s Sum) EffectiveWords() string {
	if s.Effective.From == 0 {
		return "no procedure has an estimate"
	}
	return fmt.Sprintf("estimates of %d of %d procedures added, of a reference person; methods: %s", s.Effective.From, s.Procedures, strings.Join(s.EffectiveMethods, ", "))
}

// nominalField is the field at the skin that published levels of kerma-area product assume, and that a procedure of
// unknown field has here as it has alone.
const nominalField = 100 * quantity.SquareCentimetre

// fields make the mean field at the skin of several procedures, by which their levels of kerma-area product scale: what
// adds up is the kerma, each product over its own field, so that a sum reaches a level when one of its parts does.
type fields struct {
	kap, kerma float64
	known      bool
}

func (f *fields) add(kap quantity.Opt[quantity.GraySquareMetre], area quantity.Opt[quantity.SquareMetre]) {
	k, ok := kap.Get()
	if !ok || !(k > 0) {
		return
	}
	a, known := area.Get()
	if !known || !(a > 0) {
		a = nominalField
	}
	f.known = f.known || known
	f.kap, f.kerma = f.kap+float64(k), f.kerma+float64(k)/float64(a)
}

func (f *fields) mean() quantity.Opt[quantity.SquareMetre] {
	if !f.known || !(f.kerma > 0) {
		return quantity.None[quantity.SquareMetre]()
	}
	return quantity.Some(quantity.SquareMetre(f.kap / f.kerma))
}

func within(all []Delivered, from, to string) []*Delivered {
	kept := make([]*Delivered, 0, len(all))
	for i := range all {
		d := &all[i]
		// Without a date it may lie in any window.
		inside := d.LocalDate == "" || (d.LocalDate <= to && (from == "" || d.LocalDate >= from))
		if inside && !d.QualityControl {
			kept = append(kept, d)
		}
	}
	slices.SortStableFunc(kept, func(a, b *Delivered) int { return strings.Compare(a.LocalDate, b.LocalDate) })
	return kept
}

// least gives the higher of a value as displayed and times its signed factor.
func least[T ~float64](displayed quantity.Opt[T], factor quantity.Opt[float64]) quantity.Opt[T] {
	v, ok := displayed.Get()
	if f, signed := factor.Get(); ok && signed {
		return quantity.Some(max(v, v*T(f)))
	}
	return displayed
}

// join keeps a sum whole only while every procedure's value is; the days that lack it are named.
func join[T ~float64](sum *quantity.Opt[T], missing *[]string, v quantity.Opt[T], d *Delivered) {
	x, ok := v.Get()
	if !ok {
		*sum = quantity.None[T]()
		*missing = append(*missing, d.LocalDate)
		return
	}
	if total, whole := sum.Get(); whole {
		*sum = quantity.Some(total + x)
	}
}

// firstDay gives the first day of a window of so many days that ends with day to, or "" for all time.
func firstDay(days int, to string) string {
	end, err := time.Parse(time.DateOnly, to)
	if days <= 0 || err != nil {
		return ""
	}
	return end.AddDate(0, 0, 1-days).Format(time.DateOnly)
}
