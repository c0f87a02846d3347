package assessment

import (
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
)

// Hits makes the map of a procedure once more and gives for each patch of the skin what each event gave there. Its errors
// are those of skindose.Hits.
func (m Method) Hits(p procedure.Procedure, facts procedure.Facts) (*skindose.Map, [][]skindose.Contribution, error) {
	return skindose.Hits(m.skinInput(m.classified(p, facts)))
}
