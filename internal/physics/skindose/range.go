package skindose

import (
	"math"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// Class tells how well an estimate's inputs are known.
type Class uint8

// The classes of knowledge, best first.
const (
	Controlled Class = iota
	Typical
	LittleKnown
)

// String names the class for people.
func (c Class) String() string {
	switch c {
	case Controlled:
		return "controlled"
	case Typical:
		return "typical"
	case LittleKnown:
		return "little known"
	}
	return "unknown class"
}

// MarshalText writes the class's name.
func (c Class) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// Part is one component of the range.
type Part struct {
	Name string `json:"name"`
	// Percent is one standard deviation (k=1).
	Percent quantity.Percent `json:"percent"`
	// Words tell why the part is that large.
	Words string `json:"words"`
}

// Budget is the list of the parts of one range. All events share them: they are combined as fully correlated.
type Budget []Part

// Expanded gives the relative uncertainty with coverage factor 2 by quadrature, in percent, eq. (7.1). It is the figure
// that published budgets print; Range is wider above and narrower below.
func (b Budget) Expanded() quantity.Percent {
	sum := 0.0
	for _, p := range b {
		sum += float64(p.Percent) * float64(p.Percent)
	}
	return quantity.Percent(2 * math.Sqrt(sum))
}

// Sigma gives the standard deviation of the logarithm of the dose, eq. (7.2).
func (b Budget) Sigma() float64 {
	sum := 0.0
	for _, p := range b {
		l := math.Log1p(float64(p.Percent) / 100)
		sum += l * l
	}
	return math.Sqrt(sum)
}

// Range gives the low and high end (k=2) of a dose, eq. (7.3).
func (b Budget) Range(d quantity.Gray) (low, high quantity.Gray) {
	f := quantity.Gray(math.Exp(2 * b.Sigma()))
	return d / f, d * f
}

// The expanded uncertainties that part the classes lie at the geometric means of neighbouring sums of section 7 of the
// theory: 13 and 31 percent, 31 and 66 percent (judgement).
const (
	mostControlled quantity.Percent = 20
	mostTypical    quantity.Percent = 45
)

// Class gives the class of the whole budget.
func (b Budget) Class() Class {
	switch e := b.Expanded(); {
	case e <= mostControlled:
		return Controlled
	case e <= mostTypical:
		return Typical
	}
	return LittleKnown
}

// The k=1 parts of the air kerma display in percent: with a signed factor in date, with a display check on file, and
// otherwise the display tolerance of 35 percent over the square root of three.
//
// Source: IEC 60601-2-43:2010 (tolerance; memory); the first two are judgement of the project.
const (
	meterFactor    quantity.Percent = 3
	meterChecked   quantity.Percent = 8
	meterUnchecked quantity.Percent = 20
)

// behindTable is the k=1 part in percent of the table when a factor measured behind it stands for it: it holds for
// beams at right angles to the table (judgement).
const behindTable quantity.Percent = 6

// distanceUnknown is the k=1 part in percent of a distance that is not known: 5 cm at 63 cm by the inverse square (computed).
const distanceUnknown quantity.Percent = 16

// budgetOf names the parts of what is known of a course. The display's part is that of the factor in use.
func budgetOf(k exposure.Knowledge, cal calibration) Budget {
	table := Part{Name: "table attenuation and scatter", Percent: k.Table.Percent, Words: k.Table.Words}
	if cal.behindTable {
		table.Percent, table.Words = behindTable, "in the calibration factor, measured behind the table"
	}
	distance := k.Distance
	if k.LittleKnown && distance.Percent < distanceUnknown {
		distance = exposure.Part{Percent: distanceUnknown, Words: "the geometry cannot be as reported"}
	}
	part := func(name string, p exposure.Part) Part { return Part{Name: name, Percent: p.Percent, Words: p.Words} }
	return Budget{
		{Name: "air kerma display", Percent: cal.percent, Words: cal.why},
		part("distance from focus to skin", distance), table, part("backscatter", k.Backscatter),
		part("tissue", k.Tissue), part("place and overlap of fields", k.Place),
	}
}
