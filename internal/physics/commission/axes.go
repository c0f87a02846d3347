package commission

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// The limits of the table; judgement. A tape is read within 5 mm, positions are reported in whole millimetres.
const (
	// TableLimit is how far a reported number may be from the number expected.
	TableLimit quantity.Millimetre = 6
	// LeastStep is the smallest motion that shows anything: three times the largest span that the limit lets through.
	LeastStep quantity.Millimetre = 40
)

// position reads one of the reported table positions.
type position struct {
	name string
	of   func(*procedure.Mechanics) quantity.Opt[quantity.Millimetre]
}

func positions() [3]position {
	return [3]position{
		{"longitudinal table position", func(m *procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableLongitudinal }},
		{"lateral table position", func(m *procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableLateral }},
		{"table height position", func(m *procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableHeight }},
	}
}

// meanings are what a position can mean.
func meanings() []procedure.TableAxis {
	return []procedure.TableAxis{
		{Meaning: procedure.AxisTableHead, Sign: 1},
		{Meaning: procedure.AxisTableHead, Sign: -1},
		{Meaning: procedure.AxisTableLeft, Sign: 1},
		{Meaning: procedure.AxisTableLeft, Sign: -1},
		{Meaning: procedure.AxisTableDown, Sign: 1},
		{Meaning: procedure.AxisTableDown, Sign: -1},
	}
}

// Toward names the side of the table that an axis grows toward.
func Toward(a procedure.TableAxis) string {
	names := map[procedure.TableAxis]string{
		{Meaning: procedure.AxisTableHead, Sign: 1}: "head", {Meaning: procedure.AxisTableHead, Sign: -1}: "foot",
		{Meaning: procedure.AxisTableLeft, Sign: 1}: "left", {Meaning: procedure.AxisTableLeft, Sign: -1}: "right",
		{Meaning: procedure.AxisTableDown, Sign: 1}: "down", {Meaning: procedure.AxisTableDown, Sign: -1}: "up",
	}
	return names[procedure.TableAxis{Meaning: a.Meaning, Sign: a.Sign}]
}

// point is one exposure as one position shows it.
type point struct {
	taken
	number quantity.Millimetre
}

// offset is the number that an answer leaves for the start, from one point.
func (p point) offset(a procedure.TableAxis) float64 {
	return float64(p.number) - float64(a.Sign)*float64(p.exposure.Moved.along(a.Meaning))
}

// fit gives the start of the axis as an answer has it, the middle of what the points say, and the farthest of them from it,
// eq. (11.1).
func fit(points []point, a procedure.TableAxis) (start, farthest float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		o := p.offset(a)
		lo, hi = min(lo, o), max(hi, o)
	}
	return (lo + hi) / 2, (hi - lo) / 2
}

// span is how far the table moved over the points as an axis of this meaning shows it.
func span(points []point, meaning procedure.AxisMeaning) quantity.Millimetre {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		v := float64(p.exposure.Moved.along(meaning))
		lo, hi = min(lo, v), max(hi, v)
	}
	return quantity.Millimetre(hi - lo)
}

// axis finds the meaning of one position: the exposures registered head first and supine decide, the others are held
// against the answer.
func axis(all []taken, pos position) Axis {
	out := Axis{Conclusion: Conclusion{Question: "meaning of the " + pos.name, Unit: "mm"}}
	var deciding, others []point
	for _, t := range all {
		number, ok := pos.of(&t.event.Mechanics).Get()
		if !ok {
			continue
		}
		p := point{t, number}
		if t.exposure.headFirstSupine() {
			deciding = append(deciding, p)
		} else {
			others = append(others, p)
		}
	}
	if len(deciding) < 2 {
		out.Says = "the report tells this position in fewer than two of the exposures registered head first and supine"
		return out
	}
	var fits []procedure.TableAxis
	for _, a := range meanings() {
		if _, farthest := fit(deciding, a); farthest <= float64(TableLimit) {
			fits = append(fits, a)
		}
	}
	switch {
	case len(fits) == 0:
		out.State, out.Says, out.Events = Contradicted, follows(deciding), eventsOf(deciding)
	case len(fits) > 1 || span(deciding, fits[0].Meaning) < LeastStep:
		out.Says = undecided(fits)
	default:
		out.settle(fits[0], deciding, others)
	}
	return out
}

// settle takes the one answer that fits, when the exposures registered otherwise do not contradict it.
func (x *Axis) settle(a procedure.TableAxis, deciding, others []point) {
	start, farthest := fit(deciding, a)
	x.State, x.Means, x.Limit, x.Events = Shown, a, quantity.Some(float64(TableLimit)), eventsOf(deciding)
	moved := false
	var against []point
	for _, p := range others {
		off := math.Abs(p.offset(a) - start)
		if off > 2*float64(TableLimit) { // start and number may each be off by the limit
			against = append(against, p)
			continue
		}
		moved = moved || math.Abs(float64(p.exposure.Moved.along(a.Meaning))) >= float64(LeastStep)
	}
	if len(against) > 0 {
		x.State, x.Means, x.Events = Contradicted, procedure.TableAxis{}, eventsOf(against)
		x.Residual, x.Limit = quantity.None[float64](), quantity.None[float64]()
		x.Says = fmt.Sprintf("registered head first and supine the number grows toward the table's %s, registered otherwise it does not follow: a profile cannot say that", Toward(a))
		return
	}
	x.Residual = quantity.Some(farthest)
	x.Says = fmt.Sprintf("the number grows toward the table's %s", Toward(a))
	if a.Meaning == procedure.AxisTableDown {
		x.Says = fmt.Sprintf("the number grows when the table goes %s", Toward(a))
	}
	if moved {
		x.Says += ", also with the patient registered otherwise"
		x.Events = eventsOf(append(slices.Clone(deciding), others...))
	} else {
		x.Says += "; not tried with the patient registered otherwise"
	}
}

// undecided says which answers are left.
func undecided(fits []procedure.TableAxis) string {
	var left []string
	for _, a := range fits {
		left = append(left, Toward(a))
	}
	return fmt.Sprintf("the exposures do not move the table far enough (%s mm and more) to tell; left are: %s", quantity.Fixed(float64(LeastStep), 0), strings.Join(left, ", "))
}

// follows says what a number did that no answer explains.
func follows(points []point) string {
	var said []string
	first := points[0]
	for _, p := range points[1:] {
		m := p.exposure.Moved
		n := first.exposure.Moved
		if m == n {
			continue
		}
		said = append(said, fmt.Sprintf("event %d: table moved %s head, %s left, %s down, the number by %s", p.exposure.Event,
			whole(m.Head-n.Head), whole(m.Left-n.Left), whole(m.Down-n.Down), whole(p.number-first.number)))
	}
	if len(said) == 0 {
		return "the table did not move, the number did"
	}
	return fmt.Sprintf("the number follows no direction of the table within %s mm (from event %d, in mm: %s)",
		whole(TableLimit), first.exposure.Event, strings.Join(said, "; "))
}

func whole(v quantity.Millimetre) string { return quantity.Fixed(float64(v), 0) }

func eventsOf(points []point) []int {
	var out []int
	for _, p := range points {
		out = append(out, p.exposure.Event)
	}
	slices.Sort(out)
	return out
}

// apart refuses two positions of one meaning.
func apart(axes ...*Axis) {
	for i, a := range axes {
		for _, b := range axes[i+1:] {
			if a.Means.Meaning == procedure.AxisUnknown || a.Means.Meaning != b.Means.Meaning {
				continue
			}
			for _, x := range [2]*Axis{a, b} {
				x.State, x.Says = Contradicted, x.Says+": so does another position"
			}
		}
	}
	for _, a := range axes {
		if a.State != Shown {
			a.Means = procedure.TableAxis{}
		}
	}
}

// isocentric holds the rows of the isocentre system (PS3.16 128766 to 128771) against what they mean by the standard. The
// estimates use them before any profile, so that nothing can mend them.
func isocentric(all []taken) []Conclusion {
	rows := []struct {
		position
		means procedure.TableAxis
	}{
		{position{"Table X Position to Isocenter", func(m *procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableX }}, meanings()[2]},
		{position{"Table Y Position to Isocenter", func(m *procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableY }}, meanings()[4]},
		{position{"Table Z Position to Isocenter", func(m *procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableZ }}, meanings()[0]},
	}
	var out []Conclusion
	for _, row := range rows {
		var points []point
		for _, t := range all {
			if number, ok := row.of(&t.event.Mechanics).Get(); ok {
				points = append(points, point{t, number})
			}
		}
		if len(points) == 0 {
			continue
		}
		c := Conclusion{Question: "row " + row.name, Unit: "mm", Events: eventsOf(points)}
		_, farthest := fit(points, row.means)
		switch {
		case farthest > float64(TableLimit):
			c.State, c.Says = Contradicted, "it does not follow the table as the standard has it; the estimates use it all the same: "+follows(points)
		case span(points, row.means.Meaning) < LeastStep:
			c.Says = "the table was not moved far enough to tell"
		default:
			c.State, c.Says = Shown, "it follows the table as the standard has it"
			c.Residual, c.Limit = quantity.Some(farthest), quantity.Some(float64(TableLimit))
		}
		out = append(out, c)
	}
	return out
}
