package conformance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func caseTests() []test {
	return []test{
		{"a case comes back as it was saved", caseRoundTrip},
		{"absent numbers stay absent", absentNumbers},
		{"the same digest adds nothing", sameDigest},
		{"another digest adds a version and old ones never change", anotherVersion},
		{"two devices of a study are two cases", twoDevices},
		{"what fails leaves nothing", failedAssessment},
		{"studies are asked for at their time", askedLater},
		{"cases ask for those whose windows hold them", windows},
		{"cases tell whether they have a map", hasMap},
		{"sums of skin dose are kept by what is in them", skinSums},
		{"states do not depend on the order of arrival", states},
		{"every study is assessed again on demand", reassess},
	}
}

// sameCase compares a case with what was saved; its start is the same moment with the same offset. Whether there is a map
// is the version's and has a test of its own.
func sameCase(t *testing.T, want, got store.Case) {
	t.Helper()
	assert.True(t, want.Start.Equal(got.Start), "start %v, got %v", want.Start, got.Start)
	_, offset := want.Start.Zone()
	_, gotOffset := got.Start.Zone()
	assert.Equal(t, offset, gotOffset)
	want.ID, want.Version, want.Start, want.UpdatedAt, want.HasMap = got.ID, got.Version, got.Start, got.UpdatedAt, got.HasMap
	assert.Equal(t, want, got)
}

func caseRoundTrip(t *testing.T, s *site) {
	before := s.clock.Now()
	id, want := s.assessed(t, func(c *store.Case) {
		c.Quality = true
		c.Gaps = store.GapKAP | store.LowerBound
		c.KermaFactor = quantity.Some(1.08)
	})
	got, err := s.db.Case(ctx(), id)
	require.NoError(t, err)
	sameCase(t, want, got)
	assert.Equal(t, 1, got.Version)
	assert.WithinRange(t, got.UpdatedAt, before, s.clock.Now())
	assert.Zero(t, got.UpdatedAt.Nanosecond()%1000, "microseconds")
	v, err := s.db.Version(ctx(), id, 0)
	require.NoError(t, err)
	saved := versionOf(want, v.Digest)
	assert.Equal(t, saved.Flags, v.Flags, "in their order")
	assert.Equal(t, saved.Body, v.Body)
	assert.Equal(t, saved.Map, v.Map)
	assert.JSONEq(t, string(saved.Summary), string(v.Summary))
	assert.Equal(t, "conformance", v.Program)
	assert.Equal(t, "physics 1", v.Methods)
	found, err := s.db.CaseOf(ctx(), want.StudyUID, want.DeviceKey, want.PatientID)
	require.NoError(t, err)
	assert.Equal(t, id, found)
	for _, err := range []error{
		lastError(s.db.Case(ctx(), "no such case")), lastError(s.db.Version(ctx(), id, 2)), lastError(s.db.Version(ctx(), "no such case", 0)),
		lastError(s.db.CaseOf(ctx(), "2.25.404", "", "")),
	} {
		require.ErrorIs(t, err, store.ErrNotFound)
	}
}

func lastError[T any](_ T, err error) error { return err }

func absentNumbers(t *testing.T, s *site) {
	id, want := s.assessed(t, func(c *store.Case) {
		*c = store.Case{StudyUID: c.StudyUID, DeviceKey: c.DeviceKey, PatientID: c.PatientID, State: "provisional", FlagState: "unknown", PSDMethod: "none"}
	})
	got, err := s.db.Case(ctx(), id)
	require.NoError(t, err)
	sameCase(t, want, got)
	assert.True(t, got.Start.IsZero(), "no start is no start")
	_, known := got.Kerma.Get()
	assert.False(t, known, "unknown is not zero")
	bare := versionOf(want, "bare")
	bare.Map, bare.Body, bare.Flags, bare.Events = nil, []byte{}, nil, nil
	s.read(t, want.StudyUID, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	s.assess(t, bare)
	v, err := s.db.Version(ctx(), id, 0)
	require.NoError(t, err)
	assert.Empty(t, v.Map)
	assert.Empty(t, v.Body)
	assert.Empty(t, v.Flags)
}

func sameDigest(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	first, err := s.db.Version(ctx(), id, 0)
	require.NoError(t, err)
	s.read(t, c.StudyUID, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	records := len(s.records(t))
	again := versionOf(c, first.Digest)
	again.Change = "nothing"
	assert.Equal(t, []string{id}, s.assess(t, again))
	assert.Len(t, s.records(t), records, "no record of what did not happen")
	versions, err := s.db.Versions(ctx(), id)
	require.NoError(t, err)
	assert.Len(t, versions, 1)
	got, err := s.db.Version(ctx(), id, 0)
	require.NoError(t, err)
	assert.Equal(t, first, got)
	assert.Empty(t, s.drain(t), "and the job is done")
}

func anotherVersion(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	old, err := s.db.Version(ctx(), id, 1)
	require.NoError(t, err)
	s.read(t, c.StudyUID, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	c.State, c.Kerma, c.FlagState = "amended", quantity.Some[quantity.Gray](2.5), "below"
	next := versionOf(c, "another")
	next.Flags, next.Change = next.Flags[:1], "one report more"
	assert.Equal(t, []string{id}, s.assess(t, next))
	last := s.last(t)
	assert.Equal(t, "estimate.make", last.Action)
	assert.Equal(t, id+"/2", last.Object)
	assert.Equal(t, old.Digest, last.Before)
	assert.Equal(t, "another", last.After)

	got, err := s.db.Case(ctx(), id)
	require.NoError(t, err)
	sameCase(t, c, got)
	assert.Equal(t, 2, got.Version)
	newest, err := s.db.Version(ctx(), id, 0)
	require.NoError(t, err)
	assert.Equal(t, 2, newest.Number)
	assert.Equal(t, next.Flags, newest.Flags, "flags of the version alone")
	unchanged, err := s.db.Version(ctx(), id, 1)
	require.NoError(t, err)
	unchanged.Case = old.Case // the case is that of the newest version
	assert.Equal(t, old, unchanged)
	versions, err := s.db.Versions(ctx(), id)
	require.NoError(t, err)
	require.Len(t, versions, 2)
	assert.Equal(t, []int{2, 1}, []int{versions[0].Number, versions[1].Number}, "newest first")
	assert.Equal(t, "one report more", versions[0].Change)
}

func twoDevices(t *testing.T, s *site) {
	patient, study := s.patient(t)
	one, two := caseOf(patient, study), caseOf(patient, study)
	two.DeviceKey, two.Room = "Cath 2", "Cath 2"
	ids := s.assess(t, versionOf(one, "one"), versionOf(two, "two"))
	require.Len(t, ids, 2)
	assert.NotEqual(t, ids[0], ids[1])
	cases, err := s.db.CasesOfPatient(ctx(), patient)
	require.NoError(t, err)
	assert.Len(t, cases, 2)
}

func failedAssessment(t *testing.T, s *site) {
	patient, study := s.patient(t)
	j := s.lease(t, store.JobAssess, study)
	records := s.records(t)
	_, err := s.db.SaveAssessment(ctx(), j, []store.Version{versionOf(caseOf(patient, study), "good"), versionOf(caseOf("no such patient", study), "bad")})
	require.Error(t, err)
	require.NotErrorIs(t, err, store.ErrConflict, "that would mean a lost lease")
	assert.Equal(t, records, s.records(t))
	cases, err := s.db.CasesOfPatient(ctx(), patient)
	require.NoError(t, err)
	assert.Empty(t, cases)
	_, err = s.db.SaveAssessment(ctx(), j, []store.Version{versionOf(caseOf(patient, study), "good")})
	require.NoError(t, err, "the job is still ours")
}

func askedLater(t *testing.T, s *site) {
	patient, study := s.patient(t)
	j := s.lease(t, store.JobAssess, study)
	due := s.clock.Now().Add(2 * time.Hour)
	_, err := s.db.SaveAssessment(ctx(), j, []store.Version{versionOf(caseOf(patient, study), "one")}, store.Later{Study: study, Due: due}, store.Later{Study: "2.25.404"})
	require.NoError(t, err)
	assert.Equal(t, []string{"2.25.404"}, subjects(s.drain(t)))
	b, err := s.db.Backlog(ctx())
	require.NoError(t, err)
	assert.Zero(t, b.Waiting, "not work yet")
	s.clock.forward(2 * time.Hour)
	assert.Equal(t, []string{study}, subjects(s.drain(t)))
}

// windows saves two cases of one patient. The second changes what the first one's window holds, and the first is then
// not made to ask back.
func windows(t *testing.T, s *site) {
	who := store.Identity{Number: "W", Issuer: "Saltmarsh"}
	a, b := s.read(t, "2.25.1", who), s.read(t, "2.25.2", who)
	early, late := caseOf(a.PatientID, "2.25.1"), caseOf(b.PatientID, "2.25.2")
	early.LocalDate, late.LocalDate = "2026-09-01", "2026-09-20"
	days := store.Span{From: "2026-08-01", To: "2026-09-20"}
	whole := versionOf(late, "late")
	whole.Window = store.Window{Days: days}
	lateID := s.assess(t, whole)[0]
	first := versionOf(early, "early")
	first.Window = store.Window{Touched: []store.Span{{From: "2026-09-01", To: "2026-10-31"}}}
	_, err := s.db.Recompute(ctx(), person, store.Recomputation{Reason: "both"})
	require.NoError(t, err)
	j := s.lease(t, store.JobAssess, "2.25.1")
	s.drain(t)
	ids, err := s.db.SaveAssessment(ctx(), j, []store.Version{first})
	require.NoError(t, err)
	again := s.lease(t, store.JobAssess, "2.25.2")
	stale := versionOf(late, "late with early")
	stale.Window = store.Window{Days: days, Seen: map[string]int{ids[0]: 0}}
	_, err = s.db.SaveAssessment(ctx(), again, []store.Version{stale})
	require.NoError(t, err)
	again = s.lease(t, store.JobAssess, "2.25.2")
	fresh := stale
	fresh.Digest, fresh.Window.Seen = "late with early 1", map[string]int{ids[0]: 1}
	got, err := s.db.SaveAssessment(ctx(), again, []store.Version{fresh})
	require.NoError(t, err)
	assert.Equal(t, []string{lateID}, got)
	assert.Empty(t, s.drain(t), "asking ends")
}

func hasMap(t *testing.T, s *site) {
	patient, study := s.patient(t)
	v := versionOf(caseOf(patient, study), "map")
	for _, step := range []struct {
		digest string
		bytes  []byte
		want   bool
	}{{"map", []byte("map"), true}, {"empty", []byte{}, false}, {"again", []byte("map"), true}, {"none", nil, false}} {
		v.Digest, v.Map = step.digest, step.bytes
		_, err := s.db.Recompute(ctx(), person, store.Recomputation{Reason: "another version"})
		require.NoError(t, err)
		ids := s.assess(t, v)
		one, err := s.db.Case(ctx(), ids[0])
		require.NoError(t, err)
		assert.Equal(t, step.want, one.HasMap, step.digest)
		all, err := s.db.CasesOfPatient(ctx(), patient)
		require.NoError(t, err)
		one.Digest = step.digest
		assert.Equal(t, []store.Case{one}, all)
	}
}

// skinSums keeps sums with a version that is new, with one that is not, and under keys that are there.
func skinSums(t *testing.T, s *site) {
	patient, study := s.patient(t)
	v := versionOf(caseOf(patient, study), "one")
	v.Skin = []store.SkinSum{{Key: "a", Body: []byte("first")}, {Key: "b", Body: []byte("second")}}
	age := s.db.DosesAge()
	s.assess(t, v)
	assert.Greater(t, s.db.DosesAge(), age)
	_, err := s.db.Recompute(ctx(), person, store.Recomputation{Reason: "another look"})
	require.NoError(t, err)
	v.Skin = []store.SkinSum{{Key: "a", Body: []byte("other")}, {Key: "c", Body: []byte("third")}}
	age = s.db.DosesAge()
	s.assess(t, v)
	assert.Greater(t, s.db.DosesAge(), age, "also where the version is the same")
	kept, err := s.db.SkinSums(ctx(), []string{"a", "c", "d"})
	require.NoError(t, err)
	assert.Equal(t, map[string][]byte{"a": []byte("first"), "c": []byte("third")}, kept)
	kept, err = s.db.SkinSums(ctx(), nil)
	require.NoError(t, err)
	assert.Empty(t, kept)
}

func states(t *testing.T, s *site) {
	_, first := s.assessed(t, nil)
	_, second := s.assessed(t, func(c *store.Case) { c.Kerma = quantity.None[quantity.Gray]() })
	all, err := s.db.States(ctx())
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, []string{first.StudyUID, second.StudyUID}, []string{all[0].Study, all[1].Study}, "by study")
	assert.Equal(t, first.Kerma, all[0].Kerma)
	assert.Equal(t, second.Kerma, all[1].Kerma)
	assert.Equal(t, "digest of "+first.StudyUID, all[0].Digest)
}

func reassess(t *testing.T, s *site) {
	_, first := s.patient(t)
	_, second := s.patient(t)
	s.drain(t)
	asked, err := s.db.Recompute(ctx(), person, store.Recomputation{Reason: "new coefficients"})
	require.NoError(t, err)
	assert.Equal(t, 2, asked.Studies)
	assert.Equal(t, "new coefficients", s.last(t).Reason)
	assert.ElementsMatch(t, []string{first, second}, subjects(s.drain(t)))
}
