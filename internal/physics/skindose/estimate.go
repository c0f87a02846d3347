package skindose

import (
	"afterbeam/internal/physics/beam"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Version names the way of computing; an estimate is kept with it and never overwritten.
const Version = "skindose/3"

// Method is how an estimate was made, best first.
type Method string

// The methods. MethodMap has the geometry of every beam from the report and the device profile with the zeros of its table
// axes, only the place along the body being that of the region imaged; MethodMapAssumed had to assume more of it;
// MethodTotals turns totals into dose by the group of the procedure; MethodNone has no value.
const (
	MethodMap        Method = "map"
	MethodMapAssumed Method = "map-assumed"
	MethodTotals     Method = "totals"
	MethodNone       Method = "none"
)

// DefaultMaxPatch is the largest patch of skin in cm2 when none is asked for.
const DefaultMaxPatch = 1.0

// Input is what an estimate is made from.
type Input struct {
	Procedure procedure.Procedure
	Profile   procedure.DeviceProfile
	Facts     procedure.Facts
	// Group is the group of the procedure's class: coronary, static_projection, neuro, body or unknown.
	Group string
	// Site is the place along the body that the procedure's class has at the isocentre, and EventSite that of an event's
	// target region.
	Site      string
	EventSite func(procedure.Code) (string, bool)
	// MaxPatch is the largest patch of skin in cm2; 0 is DefaultMaxPatch.
	MaxPatch float64
	// RangePoints is how many samples the range of a map is made from; 0 is Points.
	RangePoints int
	// Skull lowers the backscatter of the head as bone under thin skin does; otherwise the head scatters like water, which
	// is the cautious choice.
	Skull bool
	// Tissue is the medium of the dose; "" is ICRU-44 soft tissue.
	Tissue beam.Material
}

// Estimate is the peak skin dose of one procedure with its range and all that it rests on. It is an estimate, not a
// measurement.
type Estimate struct {
	Method  Method
	Version string
	// Value is absent with MethodNone. Low and High are the ends of the range (k=2).
	Value, Low, High quantity.Opt[quantity.Gray]
	Class            Class
	Parts            Budget
	Assumptions      []string
	Sources          []string
	Findings         []procedure.Finding
	// Reason tells why no better method was used; it is "" with MethodMap.
	Reason string
	// Map, Peak and Contributions are there with the two map methods only.
	Map           *Map
	Peak          Place
	Contributions []Contribution
	// FinePeak is the highest dose on pieces of a quarter of a square centimetre around Peak: what lies between the patches.
	// Value, Low and High are of the patches. Absent without a map.
	FinePeak quantity.Opt[quantity.Gray]
	// KermaWithoutGeometry is the part of the procedure's reference air kerma that no beam of the map accounts for.
	KermaWithoutGeometry quantity.Opt[quantity.Ratio]
	// FieldAtSkin is the mean field area at the skin, weighted by the share of the kerma-area product, eq. (6.6).
	FieldAtSkin quantity.Opt[quantity.SquareMetre]
	InputsUsed  []string
	// Published is what published relations give alone, for the plane and total that Value rests on: with MethodTotals,
	// where a relation was found in the procedure's class. They are in neither Value nor range.
	Published []Comparison
	// LowerBound tells that some of what was delivered is in no value and no total, so that the dose may lie above High:
	// the estimate can reach a level and never lies below one.
	LowerBound bool
	// HighForMissing is the part of High that stands for kerma without geometry.
	HighForMissing quantity.Gray
	// Sampling tells how the range of a map came about, nil with other methods. Its ends are without HighForMissing.
	Sampling *Sampling
}

// The parts of the kerma without geometry that matter: up to the first it is within the rounding of totals, above the
// second a map says too little (judgement).
const (
	rangeWithoutGeometry = 0.02
	mapWithoutGeometry   = 0.20
)

// completed gives the input with the defaults in place of what is not chosen.
func (in Input) completed() Input {
	if in.MaxPatch <= 0 {
		in.MaxPatch = DefaultMaxPatch
	}
	if in.Tissue == "" {
		in.Tissue = beam.SoftTissue
	}
	return in
}

// Evaluate estimates the peak skin dose by the best method that the data allow. It never fails: what is missing lowers
// the method, and with MethodNone the reason says what.
func Evaluate(in Input) Estimate {
	in = in.completed()
	e := Estimate{Version: Version, Class: LittleKnown}
	cal := calibrationOn(in.Procedure.Start.LocalDate(), in.Profile)
	e.Assumptions = append(e.Assumptions, cal.words)
	planes := deliveredBy(in.Procedure)
	drawn, why := e.draw(in, cal)
	if drawn == nil {
		e.byTotals(in, cal, planes, why)
		return e
	}
	left := remainderOf(in.Procedure, planes, drawn.shots, drawn.unplaced)
	e.KermaWithoutGeometry = left.fraction()
	e.LowerBound = left.unbounded
	if left.over(mapWithoutGeometry) {
		e.byTotals(in, cal, planes, left.words()+", so the map says too little")
		e.raiseTo(drawn, left, cal)
		return e
	}
	e.byMap(in.Procedure, drawn, left, cal)
	return e
}
