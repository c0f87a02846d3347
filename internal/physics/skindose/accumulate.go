package skindose

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

// ErrBodies marks maps that lie on different bodies and so cannot be added.
var ErrBodies = errors.New("maps on different bodies")

// Accumulate adds the maps of several procedures on the same body patch by patch. Where some have arms alongside and others
// have none, the sum has them, with the dose of those alone: raised arms are in no beam. It returns ErrBodies when the
// bodies differ in any other patch, or when there is no map. Contributions and Fields of the sum are empty: their events
// belong to different procedures.
func Accumulate(maps ...*Map) (*Map, error) {
	if len(maps) == 0 {
		return nil, fmt.Errorf("%w: no map given", ErrBodies)
	}
	first := maps[0].Body
	for _, m := range maps {
		if len(m.Body.Patches) > len(first.Patches) {
			first = m.Body
		}
	}
	sum := &Map{Body: first, Dose: make([]quantity.Gray, len(first.Patches))}
	for i, m := range maps {
		if !sameSkin(first, m.Body) || len(m.Dose) != len(m.Body.Patches) {
			return nil, fmt.Errorf("%w: map %d of %d is on %q with %d patches, another on %q with %d", ErrBodies,
				i+1, len(maps), m.Body.Name, len(m.Body.Patches), first.Name, len(first.Patches))
		}
		for p, d := range m.Dose {
			sum.Dose[p] += d
		}
	}
	sum.Peak = PeakOf(sum.Dose)
	return sum, nil
}

// sameSkin tells whether two bodies have the same patches, arms aside where one has none.
func sameSkin(a, b *body.Body) bool {
	if a == b {
		return true
	}
	if len(a.Patches) < len(b.Patches) {
		a, b = b, a
	}
	n := len(b.Patches)
	return slices.Equal(a.Patches[:n], b.Patches) && (n == len(a.Patches) || a.Patches[n].Part.OnArm())
}

// EitherArms gives patch by patch the higher dose of two maps of one procedure, without arms and with arms alongside: the worst
// of what can be where nobody told the position of the arms. Contributions and Fields are those of the first. It returns
// ErrBodies as Accumulate does.
func EitherArms(raised, alongside *Map) (*Map, error) {
	if !sameSkin(raised.Body, alongside.Body) || len(alongside.Dose) < len(raised.Dose) {
		return nil, fmt.Errorf("%w: %q and %q", ErrBodies, raised.Body.Name, alongside.Body.Name)
	}
	either := *raised
	either.Body, either.Dose = alongside.Body, slices.Clone(alongside.Dose)
	for i, d := range raised.Dose {
		either.Dose[i] = max(either.Dose[i], d)
	}
	either.Peak = PeakOf(either.Dose)
	return &either, nil
}

// at gives the dose of a patch of a sum's body; arms that the map's own body lacks have none.
func (m *Map) at(patch int) quantity.Gray {
	if patch < 0 || patch >= len(m.Dose) {
		return 0
	}
	return m.Dose[patch]
}

// Share is what one of several procedures gave to the accumulated peak.
type Share struct {
	// Procedure is the index in the list handed to Together.
	Procedure int           `json:"procedure"`
	Dose      quantity.Gray `json:"dose"`
	Share     float64       `json:"share"`
}

// Sum is the skin dose of several procedures together.
type Sum struct {
	// Method is the weakest of the procedures when maps added, MethodTotals when peaks added, MethodNone with no value.
	Method           Method
	Value, Low, High quantity.Opt[quantity.Gray]
	// UpperBound tells that peaks were added, which need not lie on the same skin.
	UpperBound bool
	// Reason tells why peaks and not maps were added, or why there is no value.
	Reason string
	// Unknown counts the procedures without an estimate; the sum then lacks their dose.
	Unknown int
	// LowerBound tells that the sum lacks dose: of a procedure without an estimate, or of one whose estimate is a lower
	// bound itself.
	LowerBound bool
	// Map and Peak are there when maps added.
	Map    *Map
	Peak   Place
	Shares []Share
}

// Words says how the sum came about.
func (s Sum) Words() string {
	text := s.Reason
	switch {
	case s.Map != nil:
		text = "maps added patch by patch, method " + string(s.Method)
	case s.UpperBound && len(s.Shares) == 1:
		text = "the peak of one procedure"
	case s.UpperBound:
		text = "peaks added: an upper bound, since they need not lie on the same skin"
	}
	if s.Unknown > 0 && s.Value.Present() {
		text += fmt.Sprintf("; %d procedures have no estimate and are not in the sum", s.Unknown)
	}
	return text
}

// Together accumulates the estimates of several procedures of one patient: patch by patch when all have maps on the
// same body, else by adding the peaks as an upper bound. The ranges are taken as fully correlated.
func Together(estimates ...Estimate) Sum {
	maps := make([]*Map, 0, len(estimates))
	known := make([]int, 0, len(estimates))
	var s Sum
	for i := range estimates {
		s.LowerBound = s.LowerBound || estimates[i].LowerBound || !estimates[i].Value.Present()
		if !estimates[i].Value.Present() {
			s.Unknown++
			continue
		}
		known = append(known, i)
		if estimates[i].Map != nil {
			maps = append(maps, estimates[i].Map)
		}
	}
	if len(known) == 0 {
		s.Method, s.Reason = MethodNone, "no procedure has an estimate"
		return s
	}
	s.Reason = fmt.Sprintf("%d of %d procedures have a map", len(maps), len(known))
	if len(maps) == len(known) {
		sum, err := Accumulate(maps...)
		if err == nil {
			s.byMaps(estimates, known, sum)
			return s
		}
		s.Reason = err.Error()
	}
	s.Method, s.UpperBound = MethodTotals, true
	s.Reason += ": peaks are added, which is an upper bound because they need not lie on the same skin"
	s.share(estimates, known, func(i int) quantity.Gray { return estimates[i].Value.Or(0) })
	return s
}

func (s *Sum) byMaps(estimates []Estimate, known []int, sum *Map) {
	s.Map, s.Reason, s.Method = sum, "", MethodMap
	for _, i := range known {
		if estimates[i].Method != MethodMap {
			s.Method = MethodMapAssumed
		}
	}
	if sum.Peak >= 0 {
		s.Peak = PlaceOf(sum.Body, sum.Peak)
	}
	s.share(estimates, known, func(i int) quantity.Gray {
		return estimates[i].Map.at(sum.Peak)
	})
}

// share adds the doses of the procedures at the peak and scales each one's range with its dose there. What a range adds
// for kerma without geometry does not shrink with it.
func (s *Sum) share(estimates []Estimate, known []int, dose func(int) quantity.Gray) {
	var value, low, high quantity.Gray
	for _, i := range known {
		e := &estimates[i]
		d, v, l, h := dose(i), e.Value.Or(0), e.Low.Or(0), e.High.Or(0)
		value += d
		if v > 0 {
			low += d * (l / v)
			high += d * ((h - e.HighForMissing) / v)
		}
		high += e.HighForMissing
		s.Shares = append(s.Shares, Share{Procedure: i, Dose: d})
	}
	for i := range s.Shares {
		if value > 0 {
			s.Shares[i].Share = float64(s.Shares[i].Dose / value)
		}
	}
	slices.SortStableFunc(s.Shares, func(a, b Share) int { return cmp.Compare(b.Dose, a.Dose) })
	s.Value, s.Low, s.High = quantity.Some(value), quantity.Some(low), quantity.Some(high)
}
