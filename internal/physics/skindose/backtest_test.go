package skindose_test

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

//go:embed testdata/frozen_totals.json
var frozenJSON []byte

// frozenDigest was set before the ranges were first tried: whoever changes them starts another back-test, with other seed.
const frozenDigest = "fc12532deaf66787e9f7f401fcfd4fd8927b844f6f4adaf24fc3cb2f3e2f2aa8"

type frozen struct {
	Demand     float64
	Seed       uint64
	Procedures int                   `json:"procedures_of_a_kind"`
	Kerma      map[string][2]float64 `json:"kerma_gy_per_gy"`
	KAP        map[string][2]float64 `json:"kap_mgy_per_gycm2"`
}

func readFrozen(t testing.TB) frozen {
	t.Helper()
	digest := sha256.Sum256(frozenJSON)
	require.Equal(t, frozenDigest, hex.EncodeToString(digest[:]), "the frozen ranges have changed")
	var f frozen
	require.NoError(t, json.Unmarshal(frozenJSON, &f))
	return f
}

// What is tried is what the method uses.
func TestTheRangesInUseAreTheFrozenOnes(t *testing.T) {
	f := readFrozen(t)
	require.Len(t, f.Kerma, 5)
	require.Len(t, f.KAP, 5)
	for group, want := range f.Kerma {
		got := skindose.TotalsOf(group)
		require.Equal(t, group, got.Group)
		assert.Equal(t, want, [2]float64{float64(got.PerKermaLow), float64(got.PerKermaHigh)}, group)
		per := func(k skindose.PerKAP) float64 { return float64(k / skindose.MilliGrayPerGycm2) }
		kap := f.KAP[group]
		assert.InDeltaSlice(t, kap[:], []float64{per(got.PerKAPLow), per(got.PerKAPHigh)}, 1e-12, group) // one rounding of the unit
	}
}

// tried is one synthetic procedure by its map, and by its totals alone once with and once without air kerma.
type tried struct {
	peak, kerma     quantity.Gray
	byKerma, byKAP  skindose.Estimate
	ratio           float64
	withoutGeometry float64
	method          skindose.Method
}

func try(t testing.TB, f family, v variant, seed, number uint64) tried {
	t.Helper()
	a := &artist{family: f, variant: v, rng: rand.New(rand.NewPCG(seed, number))}
	d := a.draw(t)
	in := skindose.Input{Procedure: d.procedure, Profile: d.profile, Group: f.group, Site: f.site, RangePoints: 4}
	mapped := skindose.Evaluate(in)
	require.NotNil(t, mapped.Map, "%s, %s, %d: %s", f.name, v, number, mapped.Reason)
	out := tried{
		peak: mapped.Map.PeakDose(), method: mapped.Method, withoutGeometry: float64(mapped.KermaWithoutGeometry.Or(1)),
	}
	in.Procedure.Events = nil
	out.byKerma = skindose.Evaluate(in)
	in.Procedure.Totals = slices.Clone(in.Procedure.Totals)
	for i := range in.Procedure.Totals {
		out.kerma += in.Procedure.Totals[i].RefKerma.Or(0)
		in.Procedure.Totals[i].RefKerma = quantity.None[quantity.Gray]()
	}
	out.byKAP = skindose.Evaluate(in)
	out.ratio = float64(out.peak / out.kerma)
	return out
}

// numberOf tells the procedures of one kind apart from those of all others.
func numberOf(kind, i int) uint64 { return uint64(kind)<<32 | uint64(i) }

// The geometry of a synthetic procedure is wholly known, and all of it hits the patient.
func TestSyntheticProceduresHaveMaps(t *testing.T) {
	f := readFrozen(t)
	for i, fam := range families() {
		for j, v := range variants() {
			one := try(t, fam, v, f.Seed+1, numberOf(i, j)) // others than those of the back-test
			assert.Equal(t, skindose.MethodMap, one.method, "%s, %s", fam.name, v)
			assert.Less(t, one.withoutGeometry, 0.02, "%s, %s", fam.name, v)
			assert.Equal(t, skindose.MethodTotals, one.byKerma.Method)
			assert.Equal(t, skindose.MethodTotals, one.byKAP.Method)
			again := try(t, fam, v, f.Seed+1, numberOf(i, j))
			assert.Equal(t, one.peak, again.peak)
		}
	}
}
