package skindose

import (
	"cmp"
	"errors"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// ErrNoMap marks an input of which no map can be made.
var ErrNoMap = errors.New("no map of skin dose")

// Hits makes the map of an estimate once more, without its range, and gives for each patch what each event gave there, the
// largest first; nothing where no beam reached the skin. It returns ErrNoMap with the reason where there is no map.
func Hits(in Input) (*Map, [][]Contribution, error) {
	in = in.completed()
	e := Estimate{}
	d, why := e.draw(in, calibrationOn(in.Procedure.Start.LocalDate(), in.Profile))
	if d == nil {
		return nil, nil, errors.Join(ErrNoMap, errors.New(why))
	}
	hits, err := d.bench.hits(d.fired, d.result.Body)
	return d.result, hits, err
}

// hits irradiates a body event by event.
func (b *bench) hits(shots []exposure.Shot, skin *body.Body) ([][]Contribution, error) {
	ordered := slices.Clone(shots)
	slices.SortStableFunc(ordered, func(x, y exposure.Shot) int { return cmp.Or(cmp.Compare(x.Event, y.Event), compareShots(x, y)) })
	out := make([][]Contribution, len(skin.Patches))
	dose := make([]quantity.Gray, len(skin.Patches))
	for first := 0; first < len(ordered); {
		end := first
		for end < len(ordered) && ordered[end].Event == ordered[first].Event {
			end++
		}
		if _, err := b.onto(dose, ordered[first:end], skin); err != nil {
			return nil, err
		}
		for i, d := range dose {
			if d > 0 {
				out[i] = append(out[i], Contribution{Event: ordered[first].Event, Dose: d})
			}
		}
		clear(dose)
		first = end
	}
	for i := range out {
		out[i] = byEvent(out[i])
	}
	return out, nil
}
