package skindose

import (
	"fmt"
	"math"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// alongside tells whether the body has arms beside the trunk: when a person said so, and nobody lies on one.
func alongside(p procedure.Procedure, facts procedure.Facts) bool {
	return facts.Arms == procedure.ArmsAlongside && !onSide(p, facts)
}

// onSide tells whether the patient lay on a side, in any event.
func onSide(p procedure.Procedure, facts procedure.Facts) bool {
	side := func(q procedure.Posture) bool { return q == procedure.DecubitusLeft || q == procedure.DecubitusRight }
	if facts.Posture != procedure.PostureUnknown {
		return side(facts.Posture)
	}
	return slices.ContainsFunc(p.Events, func(e procedure.Event) bool { return side(e.Posture) })
}

// slantOfArms is the share of a beam's direction across the patient from which on it may pass an arm alongside: 20 degrees
// from the back or front (judgement; nearer to it no field reaches beside the trunk before it has met the skin).
const slantOfArms = 0.342

// armWords says where the arms are taken to be and, where nobody told it, what arms alongside would change.
func (d *drawing) armWords(in Input) ([]string, error) {
	switch {
	case in.Facts.Arms == procedure.ArmsRaised:
		return []string{"arms raised: given by a person"}, nil
	case alongside(in.Procedure, in.Facts):
		return []string{"arms alongside: given by a person; where they lie in a beam they shade the trunk"}, nil
	case in.Facts.Arms == procedure.ArmsAlongside:
		return []string{"arms alongside are not modelled for a patient who lies on a side: raised arms are taken, and skin of an arm in a beam has no estimate"}, nil
	}
	said := "position of the arms not told: raised out of the beams is taken (common practice, no source)"
	crossed, most, where, err := d.onArms(in)
	if err != nil || crossed == 0 {
		return []string{said}, err
	}
	return []string{said, fmt.Sprintf("beams of %d events, from the side or steeply oblique, would meet an arm that lies alongside: its skin would then have up to %s Gy (%s), and the trunk behind it less",
		crossed, quantity.Significant(float64(most), 2), where)}, nil
}

// onArms irradiates arms alongside by the map's beams: how many events meet one, and the highest dose of its skin.
func (d *drawing) onArms(in Input) (events int, most quantity.Gray, where string, err error) {
	slanting := slices.DeleteFunc(slices.Clone(d.fired), func(s exposure.Shot) bool { return math.Abs(s.Toward.X) < slantOfArms })
	if len(slanting) == 0 {
		return 0, 0, "", nil
	}
	size := SizeOf(in.Procedure, in.Facts)
	size.ArmsAlongside = true
	whole, err := body.New(size, max(in.MaxPatch, coarsePatch))
	if err != nil {
		return 0, 0, "", err
	}
	keep := make([]bool, len(whole.Patches))
	for i := range keep {
		keep[i] = whole.Patches[i].Part.OnArm()
	}
	arms := whole.Excerpt(keep)
	dose := make([]quantity.Gray, len(arms.Patches))
	slices.SortStableFunc(slanting, compareShots)
	entries, err := d.bench.onto(dose, slanting, arms)
	if err != nil {
		return 0, 0, "", err
	}
	met := map[int]bool{}
	for _, e := range entries {
		met[e.event] = true
	}
	if peak := PeakOf(dose); peak >= 0 {
		most, where = dose[peak], arms.Patches[peak].Region
	}
	return len(met), most, where, nil
}
