package skindose

import (
	"runtime"
	"sync"
	"sync/atomic"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// A sum over so many shots or more is made in so many parts, side by side. How it is cut depends on nothing but their
// number, so that the number of processors changes no bit.
const (
	shotsForParts = 64
	sumParts      = 8
)

// onto adds the doses of shots to those of a body's patches and tells where each shot entered the skin. It returns ErrShot,
// or beam's ErrQuality and ErrMaterial.
func (b *bench) onto(dose []quantity.Gray, shots []exposure.Shot, skin *body.Body) ([]entry, error) {
	optics := make([]*optics, len(shots))
	for i := range shots {
		if err := checkShot(&shots[i]); err != nil {
			return nil, err
		}
		o, err := b.of(&shots[i])
		if err != nil {
			return nil, err
		}
		optics[i] = o
	}
	entries := make([]entry, len(shots))
	hits := make([]bool, len(shots))
	part := func(dose []quantity.Gray, first, end int) {
		for i := first; i < end; i++ {
			run := exposed{body: skin, skull: b.skull}
			run.aim(&shots[i], optics[i])
			entries[i], hits[i] = run.onto(dose)
		}
	}
	if len(shots) < shotsForParts {
		part(dose, 0, len(shots))
	} else {
		b.side(dose, len(shots), part)
	}
	kept := entries[:0]
	for i, hit := range hits {
		if hit {
			kept = append(kept, entries[i])
		}
	}
	return kept, nil
}

// side works on the parts of n shots side by side and adds their doses in their order.
func (b *bench) side(dose []quantity.Gray, n int, part func(dose []quantity.Gray, first, end int)) {
	for len(b.rooms) < sumParts {
		b.rooms = append(b.rooms, nil)
	}
	for k := range b.rooms {
		if len(b.rooms[k]) < len(dose) {
			b.rooms[k] = make([]quantity.Gray, len(dose))
		}
	}
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), sumParts) {
		workers.Go(func() {
			for k := int(next.Add(1)) - 1; k < sumParts; k = int(next.Add(1)) - 1 {
				room := b.rooms[k][:len(dose)]
				clear(room)
				part(room, n*k/sumParts, n*(k+1)/sumParts)
			}
		})
	}
	workers.Wait()
	for k := range sumParts {
		for i, d := range b.rooms[k][:len(dose)] {
			dose[i] += d
		}
	}
}
