package skindose

import (
	"fmt"
	"slices"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// drawing is a map with what it rests on.
type drawing struct {
	result *Map
	// shots are the placed beams with the displayed kerma.
	shots    []exposure.Shot
	unplaced []exposure.Unplaced
	// fired are the beams that the map was made with, bench their optics.
	fired  []exposure.Shot
	bench  *bench
	budget Budget
	doubt  Doubt
	// points is how many samples the range is made from.
	points  int
	class   Class
	assumed []string // reasons why the method is map-assumed; none with full geometry
	said    []string // assumptions of body and course
}

// draw places the procedure's beams on the patient's body and irradiates it. Without a map it gives the reason.
func (e *Estimate) draw(in Input, cal calibration) (*drawing, string) {
	skin, err := body.New(SizeOf(in.Procedure, in.Facts), in.MaxPatch)
	if err != nil {
		return nil, "no body: " + err.Error()
	}
	course, err := exposure.Trace(in.Procedure, in.Profile, in.Facts, skin, in.Site, in.EventSite)
	if err != nil {
		return nil, "no beams: " + err.Error()
	}
	e.Findings = append(e.Findings, course.Findings...)
	if len(course.Shots) == 0 {
		return nil, noShots(course.Unplaced)
	}
	d := &drawing{shots: course.Shots, unplaced: course.Unplaced, budget: budgetOf(course.Knowledge, cal)}
	if d.bench, err = newBench(in.Tissue); err != nil {
		return nil, "no map: " + err.Error()
	}
	d.bench.skull = in.Skull
	if in.Skull {
		d.said = append(d.said, "backscatter of the head lowered as by 6 mm of bone under 5 mm of skin (computed for flat layers)")
	}
	d.points = in.RangePoints
	if d.points >= 16 && d.points != Points {
		d.said = append(d.said, fmt.Sprintf("range from %d samples, not the usual %d: a choice of the user", d.points, Points))
	}
	d.doubt = doubtOf(d.budget, course.Knowledge, cal)
	if d.result, d.fired, err = d.bench.worst(calibrated(course.Shots, cal), skin); err != nil {
		return nil, "no map: " + err.Error()
	}
	if course.Assumed {
		d.assumed = append(d.assumed, "part of the geometry is assumed")
	}
	if course.Alternative != nil {
		if err = d.compare(calibrated(course.Alternative, cal), course.Alternative); err != nil {
			return nil, "no map: " + err.Error()
		}
	}
	d.leaveOutMisses(in.Procedure, cal.factor)
	arms, err := d.armWords(in)
	if err != nil {
		return nil, "no map: " + err.Error()
	}
	d.class = d.budget.Class()
	if course.Knowledge.LittleKnown {
		d.class = LittleKnown
	}
	d.said = slices.Concat(d.said, skin.Assumptions, arms, course.Assumptions, []string{
		"absorbed dose in " + tissueWords(in.Tissue),
		"backscatter, its loss at oblique incidence and scatter of the table are those of plane layers (computed); skin beside a field gets its scatter up to 5 cm from the edge",
	})
	if d.result.Peak < 0 {
		return nil, "no skin of the body lies in any beam"
	}
	return d, ""
}

func tissueWords(m beam.Material) string {
	switch m {
	case beam.SoftTissue:
		return "ICRU-44 soft tissue, as published thresholds mean it (3.5 to 9 % above ICRU-44 skin)"
	case beam.Skin:
		return "ICRU-44 skin (3.5 to 9 % below soft tissue, which published thresholds mean)"
	default:
		return string(m)
	}
}

// compare takes the map of the other reading of the angles when its peak is higher.
func (d *drawing) compare(calibratedShots, shots []exposure.Shot) error {
	d.assumed = append(d.assumed, "the angles may be relative to the patient or to the gantry: the reading with the higher peak is used")
	other, fired, err := d.bench.worst(calibratedShots, d.result.Body)
	if err != nil {
		return err
	}
	if other.PeakDose() > d.result.PeakDose() {
		d.result, d.shots, d.fired = other, shots, fired
	}
	return nil
}

// leaveOutMisses counts what hits no skin, of an event or of a part of its arc, as kerma without a place: a beam goes
// through the patient, so the geometry must be wrong. factor is that of the irradiated kerma over the displayed.
func (d *drawing) leaveOutMisses(p procedure.Procedure, factor float64) {
	fired, landed := map[int]quantity.Gray{}, map[int]quantity.Gray{}
	for i := range d.shots {
		fired[d.shots[i].Event] += d.shots[i].Kerma
	}
	for _, f := range d.result.Fields {
		landed[f.Event] = f.Kerma / quantity.Gray(factor)
	}
	const rounding = 1e-9
	missed := 0
	for event := range p.Events {
		if lost := fired[event] - landed[event]; lost > rounding*fired[event] {
			missed++
			d.unplaced = append(d.unplaced, exposure.Unplaced{Event: event, Kerma: quantity.Some(lost), Reason: "its beam hits no skin of the body"})
		}
	}
	if missed == 0 {
		return
	}
	d.shots = slices.DeleteFunc(slices.Clone(d.shots), func(s exposure.Shot) bool { return landed[s.Event] == 0 })
	for i := range d.shots {
		event := d.shots[i].Event
		d.shots[i].Kerma *= min(1, landed[event]/fired[event])
	}
	d.said = append(d.said, fmt.Sprintf("the beams of %d events hit no skin of the body, wholly or on a part of their way: that kerma counts as kerma without geometry", missed))
}

// SizeOf gives the size of the body model and what it has of arms: what people added before what the report says.
func SizeOf(p procedure.Procedure, facts procedure.Facts) body.Size {
	size := body.Size{AgeYears: p.AgeYears(), Height: p.Patient.Height, Weight: p.Patient.Weight, ArmsAlongside: alongside(p, facts)}
	if facts.AgeYears.Present() {
		size.AgeYears = facts.AgeYears
	}
	if facts.Height.Present() {
		size.Height = facts.Height
	}
	if facts.Weight.Present() {
		size.Weight = facts.Weight
	}
	return size
}

// calibrated gives the shots with the factor in their kerma. A factor measured behind the table already has the table
// in it: T and FS of eq. (6.1) are then 1.
func calibrated(shots []exposure.Shot, cal calibration) []exposure.Shot {
	out := slices.Clone(shots)
	for i := range out {
		out[i].Else = calibrated(out[i].Else, cal)
		out[i].Kerma *= quantity.Gray(cal.factor)
		if cal.behindTable {
			out[i].Table = nil
		}
	}
	return out
}

// noShots words why no event could be placed, by the reason that most of them have.
func noShots(unplaced []exposure.Unplaced) string {
	if len(unplaced) == 0 {
		return "no irradiation events"
	}
	counts := map[string]int{}
	most := unplaced[0].Reason
	for _, u := range unplaced {
		counts[u.Reason]++
		if counts[u.Reason] > counts[most] {
			most = u.Reason
		}
	}
	return fmt.Sprintf("none of %d events can be placed, most often because: %s", len(unplaced), most)
}

// byMap fills the estimate from a map.
func (e *Estimate) byMap(p procedure.Procedure, d *drawing, left remainder, cal calibration) {
	e.Method = MethodMap
	if len(d.assumed) > 0 {
		e.Method, e.Reason = MethodMapAssumed, joined(d.assumed)
	}
	e.Map, e.Contributions = d.result, d.result.Contributions
	e.Peak = PlaceOf(d.result.Body, d.result.Peak)
	e.Class, e.Parts = d.class, d.budget
	value := d.result.PeakDose()
	low, high := d.spread(e)
	if left.notable {
		e.HighForMissing = worstRatio * quantity.Gray(cal.factor) * left.missing
		high += e.HighForMissing
		e.Assumptions = append(e.Assumptions, fmt.Sprintf("%s: the high end takes all of it on the peak by a lateral beam on a large patient (%s Gy)",
			left.words(), quantity.Significant(float64(e.HighForMissing), 2)))
	}
	if left.unbounded {
		e.Assumptions = append(e.Assumptions, "events without a known air kerma are in no total: the dose may be higher than the range says")
	}
	e.Value, e.Low, e.High = quantity.Some(value), quantity.Some(low), quantity.Some(high)
	if fine, err := d.bench.finePeak(d.fired, d.result); err == nil {
		e.FinePeak = fine
	}
	e.FieldAtSkin = fieldAtSkin(p, d.result.Fields)
	e.Assumptions = append(e.Assumptions, d.said...)
	e.Sources = append(e.Sources, mapSources()...)
	e.InputsUsed = append(e.InputsUsed, inputsOf(p, d)...)
}

// spread gives the range of the map's peak, from samples. What is assumed of the geometry may be wrong in ways that small
// moves do not show: the range is then at least that of the parts.
func (d *drawing) spread(e *Estimate) (low, high quantity.Gray) {
	ordered := slices.Clone(d.fired)
	slices.SortStableFunc(ordered, compareShots)
	low, high = d.budget.Range(d.result.PeakDose())
	sampling, err := d.bench.sample(ordered, d.result, d.doubt, d.points)
	if err != nil || len(sampling.Convergence) == 0 {
		e.Assumptions = append(e.Assumptions, "too few samples of the beams hit the skin: the range is that of its parts")
		return low, high
	}
	e.Sampling = sampling
	if len(d.assumed) > 0 {
		return min(low, sampling.Low), max(high, sampling.High)
	}
	return sampling.Low, sampling.High
}

// fieldAtSkin is the field area at the skin of the whole procedure, eq. (6.6).
func fieldAtSkin(p procedure.Procedure, fields []Field) quantity.Opt[quantity.SquareMetre] {
	var kap, kerma float64
	for _, f := range fields {
		event := p.Events[f.Event]
		k, ok := possible(event.KAP).Get()
		if !ok || event.Suspicion.Has(procedure.SuspectKAP) || f.Area <= 0 {
			continue
		}
		kap += float64(k)
		kerma += float64(k) / float64(f.Area)
	}
	if kerma <= 0 {
		return quantity.None[quantity.SquareMetre]()
	}
	return quantity.Some(quantity.SquareMetre(kap / kerma))
}

func mapSources() []string {
	return []string{
		"method: Jones AK, Pasciak AS 2011, J Appl Clin Med Phys 12(4):3670 and 2012 13(1):3693 (abstracts read)",
		"spectra: Boone JM, Seibert JA 1997, Med Phys 24:1661 (read)",
		"backscatter, also oblique, and table scatter: own photon Monte Carlo of the project (computed), within 3 % of AAPM TG-61 table V(b)",
		"body: Cristy M, Eckerman KF 1987, ORNL/TM-8381 (memory)",
		"range: judgement after Krajinovic M, Vujisic M, Ciraj-Bjelac O 2021, Radiat Prot Dosim 195:129-135 (abstract read)",
	}
}

func inputsOf(p procedure.Procedure, d *drawing) []string {
	var kerma quantity.Gray
	events := map[int]bool{}
	for i := range d.shots {
		kerma += d.shots[i].Kerma
		events[d.shots[i].Event] = true
	}
	return []string{
		fmt.Sprintf("%d of %d irradiation events with %s Gy of reference air kerma as displayed", len(events), len(p.Events), quantity.Significant(float64(kerma), 3)),
		"body: " + d.result.Body.Name,
	}
}

func joined(reasons []string) string {
	text := reasons[0]
	for _, r := range reasons[1:] {
		text += "; " + r
	}
	return text
}
