package archive

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// mapHead says on which body a map lies; the doses follow it.
type mapHead struct {
	Size  body.Size
	Patch float64
	Doses int
	Low   quantity.Opt[quantity.Gray]
	High  quantity.Opt[quantity.Gray]
}

// Map encodes the skin dose map of an assessment made with patches of at most the given area; nil without a map.
func Map(a assessment.Assessment, patch float64) ([]byte, error) {
	m := a.SkinDose.Map
	if m == nil {
		return nil, nil
	}
	if patch <= 0 {
		patch = skindose.DefaultMaxPatch
	}
	head, err := json.Marshal(mapHead{
		Size: skindose.SizeOf(a.Procedure, a.Facts), Patch: patch, Doses: len(m.Dose), Low: a.SkinDose.Low, High: a.SkinDose.High,
	})
	if err != nil {
		return nil, fmt.Errorf("encode map: %w", err)
	}
	out := binary.LittleEndian.AppendUint32(nil, uint32(len(head))) //nolint:gosec // a head is short
	out = append(out, head...)
	for _, d := range m.Dose {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(float64(d)))
	}
	return deflate(out)
}

// Picture is a map read back, with the range of its peak.
type Picture struct {
	Map       *skindose.Map
	Low, High quantity.Opt[quantity.Gray]
}

// ReadMap is the way back.
func ReadMap(b []byte) (Picture, error) {
	raw, err := inflate(b)
	if err != nil {
		return Picture{}, err
	}
	if len(raw) < 4 || uint64(binary.LittleEndian.Uint32(raw)) > uint64(len(raw)-4) {
		return Picture{}, fmt.Errorf("%w: map without head", ErrBroken)
	}
	n := binary.LittleEndian.Uint32(raw)
	var head mapHead
	if err := json.Unmarshal(raw[4:4+n], &head); err != nil {
		return Picture{}, fmt.Errorf("%w: head of map: %w", ErrBroken, err)
	}
	doses := raw[4+n:]
	if head.Doses < 0 || len(doses)/8 != head.Doses || len(doses)%8 != 0 {
		return Picture{}, fmt.Errorf("%w: map of %d doses holds %d bytes", ErrBroken, head.Doses, len(doses))
	}
	skin, err := body.New(head.Size, head.Patch)
	if err != nil {
		return Picture{}, fmt.Errorf("%w: body of map: %w", ErrBroken, err)
	}
	if len(skin.Patches) != head.Doses {
		return Picture{}, fmt.Errorf("%w: map of %d doses on a body of %d patches", ErrBroken, head.Doses, len(skin.Patches))
	}
	m := &skindose.Map{Body: skin, Dose: make([]quantity.Gray, head.Doses)}
	for i := range m.Dose {
		m.Dose[i] = quantity.Gray(math.Float64frombits(binary.LittleEndian.Uint64(doses[8*i:])))
	}
	m.Peak = skindose.PeakOf(m.Dose)
	return Picture{Map: m, Low: head.Low, High: head.High}, nil
}
