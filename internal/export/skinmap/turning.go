package skinmap

import (
	"encoding/binary"
	"math"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// TurningSchema names the form of Turning.
const TurningSchema = "afterbeam.skin/1"

// Turning is the skin as patches in space, for a body that a person turns, with what the events gave to each. Lists of numbers
// are little-endian bytes, which JSON has as base64.
type Turning struct {
	Schema  string `json:"schema"`
	Patches int    `json:"patches"`
	// Centres are three signed 16-bit numbers a patch, in tenths of a millimetre: left, posterior, head.
	Centres []byte `json:"centres"`
	// Normals are three signed bytes a patch, outward, 127 for 1.
	Normals []byte `json:"normals"`
	// Edges are a byte a patch, of a square patch in tenths of a millimetre divided by 2.
	Edges []byte `json:"edges"`
	// Flat are two signed 16-bit numbers a patch, its place on the flat skin in tenths of a millimetre, y downward.
	Flat []byte `json:"flat"`
	// Regions are names; Region is a byte a patch, the index of its name.
	Regions []string `json:"regions"`
	Region  []byte   `json:"region"`
	// Hit are the patches that a beam reached, 16 bits each; Dose and Words are theirs, the dose in Gy and printed.
	Hit   []byte          `json:"hit"`
	Dose  []quantity.Gray `json:"dose_gy"`
	Words []string        `json:"dose"`
	// Peak is a patch, -1 without one.
	Peak int `json:"peak"`
	// Most is how many events are told for each hit patch, the largest first: Event are their indexes in the order of the
	// case's events, 16 bits each, 65535 for none; Share are 16 bits each, 10000 for all of the dose. Number is how many
	// events reached the patch, 16 bits each.
	Most   int    `json:"most_events"`
	Event  []byte `json:"event"`
	Share  []byte `json:"share"`
	Number []byte `json:"number"`
	// Unknown says why Event and Share are empty.
	Unknown string `json:"events_unknown"`
}

// mostEvents is how many events are told for each patch.
const mostEvents = 6

// Turn gives the skin of a figure in space. hits has what each event gave to each patch; nil when that is not known, for the
// reason unknown. It returns ErrNoMap without a map, or with more patches than the form can name.
func Turn(f Figure, hits [][]skindose.Contribution, unknown string) (Turning, error) {
	if f.Map == nil || f.Map.Body == nil || len(f.Map.Body.Patches) > math.MaxUint16 {
		return Turning{}, ErrNoMap
	}
	m := f.Map
	sheets := sheetsOf(m)
	t := Turning{Schema: TurningSchema, Patches: len(m.Dose), Peak: m.Peak, Most: mostEvents, Unknown: unknown, Dose: []quantity.Gray{}, Words: []string{}, Event: []byte{}, Share: []byte{}, Number: []byte{}, Hit: []byte{}}
	for i := range m.Body.Patches {
		t.patch(sheets, &m.Body.Patches[i])
		if m.Dose[i] <= 0 {
			continue
		}
		t.Hit = binary.LittleEndian.AppendUint16(t.Hit, uint16(i))
		t.Dose, t.Words = append(t.Dose, m.Dose[i]), append(t.Words, f.unit().with(m.Dose[i]))
		if hits != nil {
			t.events(hits[i])
		}
	}
	return t, nil
}

func (t *Turning) patch(sheets []sheet, p *body.Patch) {
	for _, v := range [...]float64{p.Centre.X, p.Centre.Y, p.Centre.Z} {
		t.Centres = append16(t.Centres, 10*v)
	}
	for _, v := range [...]float64{p.Normal.X, p.Normal.Y, p.Normal.Z} {
		t.Normals = append(t.Normals, byte(int8(math.Round(math.MaxInt8*v))))
	}
	const perSquareCentimetre = 100
	edge := math.Sqrt(p.Area * perSquareCentimetre)
	t.Edges = append(t.Edges, byte(min(math.Ceil(5*edge), math.MaxUint8)))
	at := spot(sheets, *p)
	t.Flat = append16(append16(t.Flat, 10*at.x), -10*at.y)
	n := slices.Index(t.Regions, p.Region)
	if n < 0 {
		n = len(t.Regions)
		t.Regions = append(t.Regions, p.Region)
	}
	t.Region = append(t.Region, byte(n))
}

func (t *Turning) events(parts []skindose.Contribution) {
	const none, all = math.MaxUint16, 10000
	t.Number = binary.LittleEndian.AppendUint16(t.Number, uint16(min(len(parts), none)))
	for k := range mostEvents {
		event, share := uint16(none), uint16(0)
		if k < len(parts) && parts[k].Event < none {
			event, share = uint16(parts[k].Event), uint16(math.Round(all*parts[k].Share))
		}
		t.Event, t.Share = binary.LittleEndian.AppendUint16(t.Event, event), binary.LittleEndian.AppendUint16(t.Share, share)
	}
}

// append16 appends a number as 16 bits, held at the ends of what they can hold.
func append16(to []byte, v float64) []byte {
	n := int16(min(max(math.Round(v), math.MinInt16), math.MaxInt16))
	return binary.LittleEndian.AppendUint16(to, uint16(n))
}
