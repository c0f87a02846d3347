package assessment

import (
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
)

// organPatch is the size in cm2 of the patches of a body whose skin is not looked at: organ doses need its outline alone.
const organPatch = 100

// OrganCase plans the organ doses of a procedure, or gives the reason why there are none. key decides the random numbers.
func (m Method) OrganCase(p procedure.Procedure, facts procedure.Facts, key string) (organ.Case, string) {
	a := Assessment{Procedure: p, Facts: facts, Profile: m.profile(p), Class: m.classify(p, facts).Class}
	outline, err := body.New(skindose.SizeOf(p, facts), organPatch)
	if err != nil {
		return organ.Case{}, "no body: " + err.Error()
	}
	course, err := exposure.Trace(p, a.Profile, facts, outline, a.Class.Place, lexicon.PlaceOf)
	if err != nil {
		return organ.Case{}, "no beams: " + err.Error()
	}
	c, reason := organ.Plan(organ.Input{
		Procedure: p, Course: course, Body: outline, ArmsAlongside: facts.Arms == procedure.ArmsAlongside, KAPFactor: a.kapFactor(), Key: key,
	})
	c.Notes = append(c.Notes, outline.Assumptions...)
	c.Notes = append(c.Notes, course.Assumptions...)
	return c, reason
}
