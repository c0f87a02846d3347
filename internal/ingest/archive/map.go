package archive

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
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
	// Skin tells the patches of one body from those of another that has as many.
	Skin uint64
	Low  quantity.Opt[quantity.Gray]
	High quantity.Opt[quantity.Gray]
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
		Size: skindose.SizeOf(a.Procedure, a.Facts), Patch: patch, Doses: len(m.Dose), Skin: skinPrint(m.Body), Low: a.SkinDose.Low, High: a.SkinDose.High,
	})
	if err != nil {
		return nil, fmt.Errorf("encode map: %w", err)
	}
	out := binary.LittleEndian.AppendUint32(nil, uint32(len(head)))
	out = append(out, head...)
	for _, d := range m.Dose {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(float64(d)))
	}
	return deflate(kindMap, out)
}

// Picture is a map read back, with the range of its peak.
type Picture struct {
	Map       *skindose.Map
	Low, High quantity.Opt[quantity.Gray]
}

// ReadMap is the way back.
func ReadMap(b []byte) (Picture, error) {
	raw, err := inflate(kindMap, b)
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
	if head.Doses < 1 || len(doses)/8 != head.Doses || len(doses)%8 != 0 {
		return Picture{}, fmt.Errorf("%w: map of %d doses holds %d bytes", ErrBroken, head.Doses, len(doses))
	}
	if !(head.Patch*float64(head.Doses) > leastSkin) {
		return Picture{}, fmt.Errorf("%w: %d patches of %v cm2 cover no body", ErrBroken, head.Doses, head.Patch)
	}
	skin, err := body.New(head.Size, head.Patch)
	if err != nil {
		return Picture{}, fmt.Errorf("%w: body of map: %w", ErrBroken, err)
	}
	if len(skin.Patches) != head.Doses || skinPrint(skin) != head.Skin {
		return Picture{}, fmt.Errorf("%w: map of %d doses, body of %d patches", ErrOtherBody, head.Doses, len(skin.Patches))
	}
	m := &skindose.Map{Body: skin, Dose: make([]quantity.Gray, head.Doses)}
	for i := range m.Dose {
		m.Dose[i] = quantity.Gray(math.Float64frombits(binary.LittleEndian.Uint64(doses[8*i:])))
	}
	m.Peak = skindose.PeakOf(m.Dose)
	return Picture{Map: m, Low: head.Low, High: head.High}, nil
}

// ErrOtherBody marks a map that was made on a body which this program builds in another way.
var ErrOtherBody = errors.New("map lies on a body of another version")

// leastSkin is less skin in cm2 than the smallest body has: it bounds what damaged bytes may have built.
const leastSkin = 1000

// skinPrint is a digest of where the patches lie and how large they are.
func skinPrint(b *body.Body) uint64 {
	sum := fnv.New64a()
	var word [8]byte
	for i := range b.Patches {
		p := &b.Patches[i]
		for _, v := range [...]float64{p.Centre.X, p.Centre.Y, p.Centre.Z, p.Area} {
			binary.LittleEndian.PutUint64(word[:], math.Float64bits(v))
			_, _ = sum.Write(word[:]) // a hash takes all
		}
	}
	return sum.Sum64()
}
