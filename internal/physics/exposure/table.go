package exposure

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// The table that is taken when the profile has none; judgement: a light carbon-fibre top with a foam mattress.
const (
	defaultCarbonFibre quantity.GramPerSquareCentimetre = 0.39
	defaultFoam        quantity.GramPerSquareCentimetre = 0.15
	defaultTableWidth  quantity.Millimetre              = 450
	defaultTableLength quantity.Millimetre              = 2800
	// Compressed mattress; source: 2 to 5 cm known from memory, no printed source; judgement.
	defaultMattress quantity.Millimetre = 30
	// Thicker mattresses and heavier layers are not believed; judgement.
	thickestMattress quantity.Millimetre              = 500
	heaviestLayer    quantity.GramPerSquareCentimetre = 50
)

// layers are the table's layers in beam materials. It returns ErrProfile for a material it does not know.
func (t *tracer) layers() ([]beam.Layer, error) {
	if len(t.profile.Layers) == 0 {
		t.notes.say("table not described: carbon fibre 0.39 and foam 0.15 g/cm2, 45 cm wide, in contact with the skin (judgement)")
		return []beam.Layer{{Material: beam.CarbonFibre, Mass: defaultCarbonFibre}, {Material: beam.Foam, Mass: defaultFoam}}, nil
	}
	var out []beam.Layer
	for _, l := range t.profile.Layers {
		material, ok := materialOf(l.Material)
		if !ok || !(l.Mass >= 0 && l.Mass <= heaviestLayer) {
			return nil, fmt.Errorf("%w: table layer of %q, %v g/cm2; want carbon_fibre, foam, aluminium, water or pmma", ErrProfile, l.Material, float64(l.Mass))
		}
		out = append(out, beam.Layer{Material: material, Mass: l.Mass})
	}
	return out, nil
}

func orDefault(o quantity.Opt[quantity.Millimetre], usual quantity.Millimetre) quantity.Millimetre {
	if v, ok := positive(o); ok {
		return v
	}
	return usual
}

func materialOf(name string) (beam.Material, bool) {
	switch name {
	case "carbon_fibre":
		return beam.CarbonFibre, true
	case "foam":
		return beam.Foam, true
	case "aluminium":
		return beam.AluminiumMat, true
	case "water":
		return beam.Water, true
	case "pmma":
		return beam.PMMA, true
	}
	return "", false
}

// slab is the table under a patient who lies with the given rows, touching the skin at the given depth of the body's
// axis. It lies centred under the body, eq. (5.18).
func (t *tracer) slab(m rows, depth float64) *Table {
	d := t.body.Dimensions
	down, head := m.of(r3.Vec{Y: 1}), m.of(r3.Vec{Z: 1})
	middle := d.Height()/2 - d.LegLength
	return &Table{
		Centre:     r3.Add(r3.Scale(depth, down), r3.Vec{Z: middle}),
		Down:       down,
		Left:       m.of(r3.Vec{X: 1}),
		Head:       head,
		HalfWidth:  float64(orDefault(t.profile.TableWidth, defaultTableWidth)) / 2,
		HalfLength: float64(orDefault(t.profile.TableLength, defaultTableLength)) / 2,
		Layers:     t.tableLayers,
	}
}

// resting is the depth of the body's axis above the table for the part of the body at height z: the part in the beam
// lies on the table. The neck hangs between trunk and head.
func resting(b *body.Body, z float64, sideways bool) float64 {
	d := b.Dimensions
	half := b.HalfDepth
	if sideways {
		half = b.HalfWidth
	}
	switch neck := d.TrunkHeight + d.NeckHeight; {
	case z < -d.LegLength:
		return half(-d.LegLength)
	case z < 0:
		return half(z)
	case z <= neck:
		return half(0)
	default:
		return half(neck + d.HeadHeight)
	}
}

// erect tells whether the patient stood: there is no table then (PS3.16 CID 19, the older two codes from memory).
func erect(e *procedure.Event) bool {
	return e.Attitude.Is("C86043", "NCIt") || e.Attitude.Is("10904000", "SCT") || e.Attitude.Is("F-10440", "SRT")
}
