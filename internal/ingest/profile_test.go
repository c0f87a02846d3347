package ingest_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

var (
	author = store.Actor{Account: "account of A", Role: "physicist"}
	signer = store.Actor{Account: "account of B", Role: "physicist"}
)

// deviceOf gives the id of the device in the registry.
func (r *rig) deviceOf(t testing.TB, key string) string {
	t.Helper()
	all, err := r.db.Devices(t.Context(), nil)
	require.NoError(t, err)
	for _, d := range all {
		if d.Key == key {
			return d.ID
		}
	}
	t.Fatalf("no device %s", key)
	return ""
}

// draft writes a profile down and gives its version.
func (r *rig) draft(t testing.TB, p procedure.DeviceProfile) store.Profile {
	t.Helper()
	p.SignedBy = "Physicist A"
	stored, err := ingest.StoredProfile(p, "calibrated")
	require.NoError(t, err)
	stored.DeviceID = r.deviceOf(t, p.Device)
	tag, err := r.db.ProfileTag(t.Context(), stored.DeviceID)
	require.NoError(t, err)
	drafted, err := r.db.DraftProfile(t.Context(), author, stored, tag)
	require.NoError(t, err)
	return drafted
}

func (r *rig) sign(t testing.TB, p store.Profile) store.Recomputation {
	t.Helper()
	tag, err := r.db.ProfileTag(t.Context(), p.DeviceID)
	require.NoError(t, err)
	_, asked, err := r.db.SignProfile(t.Context(), signer, p.DeviceID, p.Version, "Physicist B", "checked", tag)
	require.NoError(t, err)
	return asked
}

// factored is a profile with a factor of the kerma display alone.
func factored(device, from string, factor float64) procedure.DeviceProfile {
	return procedure.DeviceProfile{
		Device: device, Name: "Hybrid 1", From: from,
		KermaFactor: quantity.Some(procedure.Factor{Value: factor, Uncertainty: 3}),
	}
}

// byHand assesses the procedure of a version with a profile and nothing else, as the pipeline should.
func (r *rig) byHand(t testing.TB, v store.Version, p procedure.DeviceProfile) assessment.Assessment {
	t.Helper()
	c, err := archive.ReadProcedure(v.Body)
	require.NoError(t, err)
	m := r.pipeline.Method
	m.Profiles = []procedure.DeviceProfile{p}
	return m.Assess(c.Procedure, c.Facts)
}

// stageOne is on 2026-09-21.
func TestTheSignedProfileOfTheDayIsUsed(t *testing.T) {
	tests := map[string]struct {
		profiles []procedure.DeviceProfile // signed one after the other
		want     float64                   // factor in force, 0 is none
	}{
		"from the day after":  {[]procedure.DeviceProfile{factored("", "2026-09-22", 1.2)}, 0},
		"from the day itself": {[]procedure.DeviceProfile{factored("", "2026-09-21", 1.2)}, 1.2},
		"from the day before": {[]procedure.DeviceProfile{factored("", "2026-09-20", 1.2)}, 1.2},
		"a later one is not yet in force": {
			[]procedure.DeviceProfile{factored("", "2026-01-01", 1.2), factored("", "2026-09-22", 1.4)}, 1.2,
		},
		"the newer one is, from its day on": {
			[]procedure.DeviceProfile{factored("", "2026-01-01", 1.2), factored("", "2026-09-21", 1.4)}, 1.4,
		},
		"one signed later for an earlier day": {
			[]procedure.DeviceProfile{factored("", "2026-09-21", 1.4), factored("", "2026-01-01", 1.2)}, 1.4,
		},
		"a correction for the same day": {
			[]procedure.DeviceProfile{factored("", "2026-09-01", 1.2), factored("", "2026-09-01", 1.3)}, 1.3,
		},
		"a factor that begins the day after": {[]procedure.DeviceProfile{within(factored("", "2026-01-01", 1.2), "2026-09-22", "")}, 0},
		"a factor that begins on the day":    {[]procedure.DeviceProfile{within(factored("", "2026-01-01", 1.2), "2026-09-21", "")}, 1.2},
		"a factor that ended the day before": {[]procedure.DeviceProfile{within(factored("", "2026-01-01", 1.2), "", "2026-09-20")}, 0},
		"a factor that ends on the day":      {[]procedure.DeviceProfile{within(factored("", "2026-01-01", 1.2), "", "2026-09-21")}, 1.2},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			report := scene(t, stageOne, 3)
			r.send(t, report)
			r.work(t)
			before := r.the(t, report.StudyUID)
			require.False(t, before.Case.KermaFactor.Present())
			require.Contains(t, before.Methods, " device profile:none")
			for _, p := range tt.profiles {
				p.Device = before.Case.DeviceKey
				r.sign(t, r.draft(t, p))
			}
			r.work(t)
			v := r.the(t, report.StudyUID)
			if tt.want == 0 {
				assert.False(t, v.Case.KermaFactor.Present())
				return
			}
			assert.Equal(t, quantity.Some(tt.want), v.Case.KermaFactor)
			assert.InEpsilon(t, tt.want*float64(before.Case.PSD.Or(0)), float64(v.Case.PSD.Or(0)), 1e-9, "a factor is a factor: rounding alone")
		})
	}
}

func within(p procedure.DeviceProfile, from, until string) procedure.DeviceProfile {
	f := p.KermaFactor.Or(procedure.Factor{})
	f.From, f.Until = from, until
	p.KermaFactor = quantity.Some(f)
	return p
}

func TestADraftIsNeverUsed(t *testing.T) {
	r := newRig(t)
	report := scene(t, stageOne, 3)
	r.send(t, report)
	r.work(t)
	before := r.the(t, report.StudyUID)
	r.draft(t, factored(before.Case.DeviceKey, "2026-01-01", 1.5))
	_, err := r.db.Recompute(t.Context(), author, store.Recomputation{Reason: "a test"})
	require.NoError(t, err)
	r.work(t)
	assert.Equal(t, before.Digest, r.the(t, report.StudyUID).Digest)
	assert.Equal(t, 1, r.the(t, report.StudyUID).Number)
}

// TestAChangedFactorMakesVersions signs a factor for one device, and wants of its cases new versions with just the differences
// that assessing by hand gives, and of the others nothing.
func TestAChangedFactorMakesVersions(t *testing.T) {
	r := newRig(t)
	one, two, other := scene(t, stageOne, 4), scene(t, stageTwo, 4), scene(t, ablation, 6)
	r.send(t, one, two, other)
	r.settle(t)
	before := map[string]store.Version{}
	for _, report := range []procedure.Report{one, two, other} {
		before[report.StudyUID] = r.the(t, report.StudyUID)
	}
	require.Equal(t, before[one.StudyUID].Case.DeviceKey, before[two.StudyUID].Case.DeviceKey)
	require.Greater(t, before[two.StudyUID].Case.LocalDate, before[one.StudyUID].Case.LocalDate)

	p := factored(before[one.StudyUID].Case.DeviceKey, before[two.StudyUID].Case.LocalDate, 1.25)
	asked := r.sign(t, r.draft(t, p))
	assert.Equal(t, 1, asked.Studies, "the cases of the device from its day on")
	r.work(t)

	p.SignedBy, p.ApprovedBy = "Physicist A", "Physicist B"
	v := r.the(t, two.StudyUID)
	hand := r.byHand(t, v, p)
	assert.Equal(t, before[two.StudyUID].Number+1, v.Number)
	assert.Contains(t, v.Change, "another device profile; peak skin dose")
	assert.Equal(t, hand.SkinDose.Value, v.Case.PSD)
	for study, number := range map[string]int{one.StudyUID: before[one.StudyUID].Number, other.StudyUID: before[other.StudyUID].Number} {
		assert.Equal(t, number, r.the(t, study).Number, "not of this device or day")
	}
	old, err := r.db.Version(t.Context(), v.Case.ID, before[two.StudyUID].Number)
	require.NoError(t, err)
	assert.Equal(t, [][]byte{before[two.StudyUID].Body, before[two.StudyUID].Map, before[two.StudyUID].Summary}, [][]byte{old.Body, old.Map, old.Summary}, "kept as it was")

	done, err := r.db.Recomputation(t.Context(), asked.ID)
	require.NoError(t, err)
	assert.Equal(t, []int{1, 0, 0, 1}, []int{done.Studies, done.Waiting, done.Failed, done.Changed})
	found, err := r.db.Differences(t.Context(), asked.ID, "", 10)
	require.NoError(t, err)
	require.Len(t, found, 1)
	was := before[two.StudyUID].Case
	assert.Equal(t, []store.NumberChange{
		{Quantity: "peak_skin_dose", Before: plain(was.PSD), After: plain(hand.SkinDose.Value)},
		{Quantity: "peak_skin_dose_high", Before: plain(was.PSDHigh), After: plain(hand.SkinDose.High)},
		{Quantity: "peak_skin_dose_low", Before: plain(was.PSDLow), After: plain(hand.SkinDose.Low)},
	}, found[0].Numbers)
	assert.Equal(t, []string{was.FlagState, hand.Levels.State.String(), v.Case.ID}, []string{found[0].FlagBefore, found[0].FlagAfter, found[0].Case.ID})

	// Once more adds nothing.
	again, err := r.db.Recompute(t.Context(), author, store.Recomputation{Reason: "once more"})
	require.NoError(t, err)
	r.work(t)
	done, err = r.db.Recomputation(t.Context(), again.ID)
	require.NoError(t, err)
	assert.Equal(t, []int{3, 0, 0}, []int{done.Studies, done.Waiting, done.Changed})
	assert.Equal(t, v.Number, r.the(t, two.StudyUID).Number)
}

func plain[T ~float64](o quantity.Opt[T]) quantity.Opt[float64] {
	v, ok := o.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(float64(v))
}

// A process that ends in the middle of estimating anew leaves the rest to the next one, and the list is the same.
func TestRecomputingGoesOnAfterAStop(t *testing.T) {
	r := newRig(t)
	report := scene(t, ablation, 2)
	const studies = 5
	for n := range studies {
		r.send(t, renamed(report, n))
	}
	r.settle(t)
	key := r.cases(t)[0].DeviceKey
	asked := r.sign(t, r.draft(t, factored(key, "2026-01-01", 1.5)))
	require.Equal(t, studies, asked.Studies)
	for range 2 {
		_, err := r.pipeline.Step(t.Context(), "test")
		require.NoError(t, err)
	}
	_, err := r.db.Lease(t.Context(), "dies", time.Hour)
	require.NoError(t, err)
	r.restart(t)
	half, err := r.db.Recomputation(t.Context(), asked.ID)
	require.NoError(t, err)
	require.Equal(t, []int{3, 2}, []int{half.Waiting, half.Changed})
	require.NoError(t, r.db.Resume(t.Context()))
	r.work(t)
	done, err := r.db.Recomputation(t.Context(), asked.ID)
	require.NoError(t, err)
	assert.Equal(t, []int{studies, 0, 0, studies}, []int{done.Studies, done.Waiting, done.Failed, done.Changed})
	for _, c := range r.cases(t) {
		versions, err := r.db.Versions(t.Context(), c.ID)
		require.NoError(t, err)
		assert.Contains(t, versions[0].Change, "another device profile")
		assert.NotContains(t, versions[1].Change, "another device profile", "once each")
	}
}

// A start with other levels estimates everything anew by itself, and the next start does not.
func TestAStartWithOtherTablesEstimatesAnew(t *testing.T) {
	r := newRig(t)
	r.send(t, scene(t, ablation, 3))
	r.settle(t)
	run := func() []store.Recomputation {
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			r.pipeline.Run(ctx)
		}()
		require.Eventually(t, func() bool {
			b, err := r.db.Backlog(ctx)
			return err == nil && b.Waiting == 0
		}, time.Minute, time.Millisecond)
		stop()
		<-ended
		all, err := r.db.Recomputations(t.Context(), "", 10)
		require.NoError(t, err)
		return all
	}
	first := len(run())
	r.pipeline.Method.Levels.PlainKAP = true
	asked := run()
	for len(asked) == first { // stopped before it began
		asked = run()
	}
	require.Len(t, asked, first+1)
	assert.Equal(t, "methods, tables or levels are new", asked[0].Reason)
	assert.Len(t, run(), first+1)
	r.work(t)
	v := r.the(t, r.cases(t)[0].StudyUID)
	assert.Contains(t, v.Change, "methods, tables or levels are new")
	r.pipeline.Method.Levels.PlainKAP = false
}
