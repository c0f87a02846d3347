package skindose_test

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
	"afterbeam/internal/validation"
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

// The peak of the map beside the range from totals alone, for synthetic procedures with everything known: how often the
// range holds what it stands for. It is the method against this project's own map, not against patients.
func TestValidateTotalsAgainstMaps(t *testing.T) {
	f := readFrozen(t)
	byKerma := validation.NewRanges("peak skin dose of synthetic procedures in the range from air kerma", f.Demand)
	byKAP := validation.NewRanges("peak skin dose of synthetic procedures in the range from kerma-area product", f.Demand)
	for i, fam := range families() {
		for j, v := range variants() {
			what := fam.name + ", " + string(v)
			kerma, kap := validation.Held{What: what, Known: missByKerma(what)}, validation.Held{What: what, Known: missByKAP(what)}
			var ratios []float64
			for n := range validation.Count(2, f.Procedures) {
				one := try(t, fam, v, f.Seed, numberOf(len(variants())*i+j, n))
				count(&kerma, one.peak, one.byKerma)
				count(&kap, one.peak, one.byKAP)
				ratios = append(ratios, one.ratio)
			}
			kerma.Note = spreadOf(ratios)
			byKerma.Add(kerma)
			byKAP.Add(kap)
		}
	}
	byKerma.Done(t)
	byKAP.Done(t)
}

// spreadOf words the middle and the ends of peak skin dose per air kerma of all planes.
func spreadOf(ratios []float64) string {
	slices.Sort(ratios)
	at := func(share float64) string { return quantity.Significant(ratios[int(share*float64(len(ratios)-1))], 2) }
	return fmt.Sprintf("per air kerma of all planes %s (5 to 95 %%: %s to %s)", at(0.5), at(0.05), at(0.95))
}

// missByKerma tells why a kind of procedure is known to miss the demand.
func missByKerma(what string) string {
	switch what {
	case "neuro, ordinary", "neuro, static lateral":
		return "the range follows published means of 0.44 and 0.5; a case that keeps to one direction gives 1.2 by the map"
	case "neuro, obese, 130 to 200 kg":
		return "as the others of the head, which the body model moreover widens like the trunk"
	}
	return ""
}

func missByKAP(what string) string {
	switch what {
	case "coronary, static lateral":
		return "small fields from the side put more on the skin than the high end, a published alert level, takes"
	case "coronary, obese, 130 to 200 kg", "coronary, biplane":
		return "small fields and few directions"
	}
	return ""
}

// count adds one estimate to the row.
func count(h *validation.Held, peak quantity.Gray, e skindose.Estimate) {
	h.Of++
	switch {
	case peak < e.Low.Or(0):
		h.Below++
	case peak > e.High.Or(0):
		h.Above++
	}
}
