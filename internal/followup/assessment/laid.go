package assessment

import (
	"fmt"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// LaidVersion names how procedures are laid on one body and added up; it changes when a sum may.
const LaidVersion = "laid 1"

// Kept is a procedure of a patient with the estimate that was made of it alone, under a key of the caller's.
type Kept struct {
	Earlier
	Key string
	// Value, Low and High are the peak skin dose of the procedure alone with its range.
	Value, Low, High quantity.Opt[quantity.Gray]
}

// Laid is what several procedures of one patient left on the skin of one body, where they have maps.
type Laid struct {
	Procedures int // test objects aside
	Mapped     int // those in Value
	Lacking    int // those that have an estimate alone and no map
	// Value is absent when no procedure has a map.
	Value, Low, High quantity.Opt[quantity.Gray]
	Method           skindose.Method
	Place            skindose.Place
	Shares           []LaidShare // the largest first
	// LowerBound tells that the estimate of a procedure in it is a lower bound.
	LowerBound bool
	Words      string
}

// LaidShare is what one procedure gave to the peak.
type LaidShare struct {
	Key   string
	Dose  quantity.Gray
	Share float64
}

// Lay lays procedures on one body, as NextStage does, and adds up where they have maps. The range of each procedure alone
// applies to its part of the peak, all as one.
func (m Method) Lay(all []Kept) Laid {
	earlier := make([]Earlier, len(all))
	for i := range all {
		earlier[i] = all[i].Earlier
	}
	n, err := m.NextStage(earlier)
	laid := Laid{Procedures: len(n.Assessments), Mapped: n.Mapped}
	for i := range n.Assessments {
		if n.Assessments[i].SkinDose.Map == nil && all[n.From[i]].Value.Present() {
			laid.Lacking++
		}
	}
	if err != nil {
		laid.Words = "no procedure has a map of skin dose"
		return laid
	}
	var estimates []skindose.Estimate
	var keys []string
	for i := range n.Assessments {
		e := n.Assessments[i].SkinDose
		if e.Map == nil {
			continue
		}
		own := all[n.From[i]]
		if own.Value.Present() {
			e.Value, e.Low, e.High = own.Value, own.Low, own.High
		}
		estimates, keys = append(estimates, e), append(keys, own.Key)
	}
	sum := skindose.Together(estimates...)
	laid.Value, laid.Low, laid.High, laid.Method, laid.Place, laid.LowerBound = sum.Value, sum.Low, sum.High, sum.Method, sum.Peak, sum.LowerBound
	for _, s := range sum.Shares {
		laid.Shares = append(laid.Shares, LaidShare{Key: keys[s.Procedure], Dose: s.Dose, Share: s.Share})
	}
	laid.Words = fmt.Sprintf("maps of %d of %d procedures laid on one body and added patch by patch, method %s; where procedures overlap is less certain than the range of each",
		laid.Mapped, laid.Procedures, laid.Method)
	for _, words := range n.Arms {
		laid.Words += "; " + words
	}
	return laid
}

// whole tells whether every procedure that has an estimate is in it.
func (l Laid) whole() bool { return l.Value.Present() && l.Lacking == 0 }

// compared gives what is compared with the levels in place of the peaks added. Where a place along the body or the table is
// assumed, procedures may overlap more than they do on the map: the high end is that of the peaks added.
func (l Laid) compared(added skindose.Sum) level.Estimated {
	e := level.Estimated{
		Value: l.Value.Or(0), High: l.High.Or(l.Value.Or(0)), Method: string(l.Method) + ", maps laid on one body", LowerBound: l.LowerBound || added.LowerBound,
	}
	if l.Method != skindose.MethodMap {
		e.High = max(e.High, added.High.Or(0))
	}
	return e
}
