package conformance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func deviceTests() []test {
	return []test{
		{"the registry fills from reports in any order", registry},
		{"a data set counts once", registryCountsOnce},
		{"a clock that runs ahead is not believed", clockAhead},
		{"scope by room", devicesInRooms},
		{"profiles are drafted and signed, never changed", profiles},
		{"signing asks for the days of the profile alone", signingAsks},
		{"a file is imported once", imports},
		{"checks are kept with the draft they made", deviceChecks},
	}
}

// seen reads a report of a device with content at a day.
func (s *site) seen(t *testing.T, key, day, room, software string) store.Report {
	t.Helper()
	n := s.next()
	at, err := time.Parse(time.DateOnly, day)
	require.NoError(t, err)
	return s.readAs(t, store.Report{
		SOPInstance: fmt.Sprintf("2.25.%d", n), DataSetDigest: fmt.Sprintf("set %d", n), ContentDigest: fmt.Sprintf("content %d", n),
		StudyUID: fmt.Sprintf("2.25.8.%d", n), DeviceKey: key, ContentAt: at, Day: day, Body: []byte("body"),
		Equipment: store.Equipment{UID: key, Manufacturer: "Maker", Model: "Model", Serial: "S1", Station: "ST", Name: "Name", Room: room, Software: software},
	}, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
}

// device gives the device of a key.
func (s *site) device(t *testing.T, key string) store.Device {
	t.Helper()
	all, err := s.db.Devices(ctx(), nil)
	require.NoError(t, err)
	for _, d := range all {
		if d.Key == key {
			return d
		}
	}
	require.Fail(t, "no device "+key)
	return store.Device{}
}

func registry(t *testing.T, s *site) {
	s.seen(t, "2.25.7", "2026-09-02", "Hybrid 1", "1.0")
	s.seen(t, "2.25.7", "2026-09-04", "Cath 2", "2.0")
	s.seen(t, "2.25.7", "2026-09-03", "Hybrid 1", "1.1")
	s.seen(t, "2.25.7", "2026-09-02", "Hybrid 1", "1.0")
	d := s.device(t, "2.25.7")
	assert.Equal(t, store.Equipment{UID: "2.25.7", Manufacturer: "Maker", Model: "Model", Serial: "S1", Station: "ST", Name: "Name", Room: "Cath 2", Software: "2.0"},
		d.Equipment, "the words of the newest content")
	assert.Equal(t, []any{4, 0, "2026-09-02", "2026-09-04"}, []any{d.Reports, d.Procedures, d.FirstDay, d.LastDay})
	assert.True(t, d.FirstReceived.Before(d.LastReceived))
	rooms, err := s.db.RoomsOf(ctx(), d.ID)
	require.NoError(t, err)
	assert.Equal(t, []store.Seen{{Value: "Hybrid 1", FirstDay: "2026-09-02", LastDay: "2026-09-03", Reports: 3}, {Value: "Cath 2", FirstDay: "2026-09-04", LastDay: "2026-09-04", Reports: 1}}, rooms)
	software, err := s.db.SoftwareOf(ctx(), d.ID)
	require.NoError(t, err)
	assert.Equal(t, []store.Seen{{Value: "1.0", FirstDay: "2026-09-02", LastDay: "2026-09-02", Reports: 2}, {Value: "1.1", FirstDay: "2026-09-03", LastDay: "2026-09-03", Reports: 1}, {Value: "2.0", FirstDay: "2026-09-04", LastDay: "2026-09-04", Reports: 1}}, software)
	days, err := s.db.DaysOfUse(ctx(), d.ID, 2)
	require.NoError(t, err)
	assert.Equal(t, []string{"2026-09-04", "2026-09-03"}, days)
	one, err := s.db.Device(ctx(), d.ID, nil)
	require.NoError(t, err)
	assert.Equal(t, d, one)
	_, err = s.db.Device(ctx(), "nowhere", nil)
	require.ErrorIs(t, err, store.ErrNotFound)
}

func registryCountsOnce(t *testing.T, s *site) {
	r := s.seen(t, "2.25.7", "2026-09-02", "Hybrid 1", "1.0")
	before := s.device(t, "2.25.7")
	r.Equipment, r.Day = store.Equipment{Room: "Cath 2"}, "2026-09-09"
	s.readAs(t, r, store.Identity{Number: "N1", Issuer: "Saltmarsh"}) // another encoding of the same data set
	assert.Equal(t, before, s.device(t, "2.25.7"))
}

func clockAhead(t *testing.T, s *site) {
	s.seen(t, "2.25.7", "2031-01-01", "Hybrid 1", "1.0")
	today := s.clock.Now().Format(time.DateOnly)
	assert.Equal(t, today, s.device(t, "2.25.7").LastDay)
	s.seen(t, "2.25.8", s.clock.Now().AddDate(0, 0, 1).Format(time.DateOnly), "Hybrid 1", "1.0")
	assert.Greater(t, s.device(t, "2.25.8").LastDay, today, "a day further east is tomorrow already")
}

func devicesInRooms(t *testing.T, s *site) {
	s.seen(t, "2.25.7", "2026-09-02", "Hybrid 1", "1.0")
	s.seen(t, "2.25.8", "2026-09-02", "Cath 2", "1.0")
	s.seen(t, "2.25.9", "2026-09-02", "Cath 2", "1.0")
	s.seen(t, "2.25.9", "2026-09-03", "Hybrid 1", "1.0") // moved
	for _, tt := range []struct {
		rooms []string
		want  []string
	}{
		{nil, []string{"2.25.8", "2.25.7", "2.25.9"}},
		{[]string{}, nil},
		{[]string{"Hybrid 1"}, []string{"2.25.7", "2.25.9"}},
		{[]string{"Cath 2"}, []string{"2.25.8", "2.25.9"}},
		{[]string{"Neuro 4"}, nil},
	} {
		all, err := s.db.Devices(ctx(), tt.rooms)
		require.NoError(t, err)
		var keys []string
		for _, d := range all {
			keys = append(keys, d.Key)
		}
		assert.Equal(t, tt.want, keys)
	}
	_, err := s.db.Device(ctx(), s.device(t, "2.25.8").ID, []string{"Hybrid 1"})
	require.ErrorIs(t, err, store.ErrNotFound)
}

var second = store.Actor{Account: "account of another physicist", Role: "physicist"}

func (s *site) profileTag(t *testing.T, id string) string {
	t.Helper()
	tag, err := s.db.ProfileTag(ctx(), id)
	require.NoError(t, err)
	return tag
}

// drafted adds a draft from a day on.
func (s *site) drafted(t *testing.T, id, from, body string) store.Profile {
	t.Helper()
	p, err := s.db.DraftProfile(ctx(), person, store.Profile{DeviceID: id, From: from, Body: []byte(body), Drafter: "Physicist A", Reason: "measured"}, s.profileTag(t, id))
	require.NoError(t, err)
	return p
}

func (s *site) signed(t *testing.T, id, from, body string) (store.Profile, store.Recomputation) {
	t.Helper()
	p := s.drafted(t, id, from, body)
	p, r, err := s.db.SignProfile(ctx(), second, id, p.Version, "Physicist B", "checked", s.profileTag(t, id))
	require.NoError(t, err)
	return p, r
}

// withdrawals tries drafts of a device of its own.
func withdrawals(t *testing.T, s *site) {
	t.Helper()
	s.seen(t, "2.25.70", "2026-09-02", "Hybrid 1", "1.0")
	id := s.device(t, "2.25.70").ID
	before := len(s.records(t))
	wrong := s.drafted(t, id, "2026-09-01", `{"a":"slip"}`)
	withdraw := func(who store.Actor, version int, name, tag string) error {
		_, err := s.db.WithdrawProfile(ctx(), who, id, version, name, "a slip", tag)
		return err
	}
	assert.Len(t, s.records(t), before+1)
	require.ErrorIs(t, withdraw(second, 1, "Physicist B", "1-0"), store.ErrOtherPerson)
	require.ErrorIs(t, withdraw(person, 1, "Physicist A", "0-0"), store.ErrConflict, "seen before")
	require.ErrorIs(t, withdraw(person, 2, "Physicist A", "1-0"), store.ErrNotFound)
	assert.Len(t, s.records(t), before+1, "nothing of what was refused is left")
	require.NoError(t, withdraw(person, 1, "Physicist A", "1-0"))
	record := s.last(t)
	assert.Equal(t, []string{"profile.withdraw", id + "/1", "a slip", wrong.Digest}, []string{record.Action, record.Object, record.Reason, record.Before})
	assert.Equal(t, "1-1", s.profileTag(t, id), "whoever saw the draft must look again")
	assert.Equal(t, 0, s.device(t, "2.25.70").Drafts)
	require.ErrorIs(t, withdraw(person, 1, "Physicist A", "1-1"), store.ErrConflict, "once")
	_, _, err := s.db.SignProfile(ctx(), second, id, 1, "Physicist B", "checked", "1-1")
	require.ErrorIs(t, err, store.ErrConflict, "never signed")
	all, err := s.db.Profiles(ctx(), id)
	require.NoError(t, err)
	require.Len(t, all, 1, "it stays to be read")
	assert.Equal(t, []string{store.ProfileWithdrawn, `{"a":"slip"}`}, []string{all[0].State, string(all[0].Body)})

	p := store.Profile{From: "2026-11-01", Body: []byte(`{"a":"file"}`), Drafter: "Physicist A", Reason: "from a file"}
	kept, _, err := s.db.ImportProfile(ctx(), store.System("device file"), "2.25.70", p, "")
	require.NoError(t, err)
	require.NoError(t, withdraw(person, kept.Version, "Physicist A", s.profileTag(t, id)), "the author of a file's draft, by name")
	again, changed, err := s.db.ImportProfile(ctx(), store.System("device file"), "2.25.70", p, "Physicist B")
	require.NoError(t, err)
	assert.False(t, changed, "the file brings nothing back")
	assert.Equal(t, []any{store.ProfileWithdrawn, kept.Version}, []any{again.State, again.Version})
}

func profiles(t *testing.T, s *site) {
	s.seen(t, "2.25.7", "2026-09-02", "Hybrid 1", "1.0")
	id := s.device(t, "2.25.7").ID
	assert.Equal(t, "0-0", s.profileTag(t, id))
	draft := s.drafted(t, id, "2026-09-01", `{"a":1}`)
	assert.Equal(t, "profile.draft", s.last(t).Action)
	assert.Equal(t, []any{1, store.ProfileDraft, "interface", person.Account, "Physicist A"}, []any{draft.Version, draft.State, draft.Origin, draft.DraftedBy, draft.Drafter})
	in, err := s.db.SignedProfiles(ctx(), "2.25.7")
	require.NoError(t, err)
	assert.Empty(t, in, "a draft is not used")

	before := s.records(t)
	sign := func(who store.Actor, version int, name, tag string) error {
		_, _, err := s.db.SignProfile(ctx(), who, id, version, name, "checked", tag)
		return err
	}
	require.ErrorIs(t, sign(person, 1, "Physicist A", "1-0"), store.ErrSamePerson)
	require.ErrorIs(t, sign(person, 1, "Physicist B", "1-0"), store.ErrSamePerson, "by account, not by name alone")
	require.ErrorIs(t, sign(second, 1, "Physicist A", "1-0"), store.ErrSamePerson, "by name as well")
	require.ErrorIs(t, sign(second, 1, "Physicist B", "0-0"), store.ErrConflict, "seen before")
	require.ErrorIs(t, sign(second, 2, "Physicist B", "1-0"), store.ErrNotFound)
	_, err = s.db.DraftProfile(ctx(), person, store.Profile{DeviceID: id, From: "2026-09-01"}, "0-0")
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = s.db.DraftProfile(ctx(), person, store.Profile{DeviceID: "nowhere", From: "2026-09-01"}, "0-0")
	require.ErrorIs(t, err, store.ErrNotFound)
	assert.Equal(t, before, s.records(t), "nothing of what was refused is left")

	withdrawals(t, s)

	require.NoError(t, sign(second, 1, "Physicist B", "1-0"))
	require.ErrorIs(t, sign(second, 1, "Physicist B", "1-1"), store.ErrConflict, "signed once")
	later, _ := s.signed(t, id, "2026-10-01", `{"a":2}`)
	same, _ := s.signed(t, id, "2026-09-01", `{"a":3}`)
	in, err = s.db.SignedProfiles(ctx(), "2.25.7")
	require.NoError(t, err)
	require.Len(t, in, 3)
	assert.Equal(t, []int{1, same.Version, later.Version}, []int{in[0].Version, in[1].Version, in[2].Version}, "by day, then by signature")
	all, err := s.db.Profiles(ctx(), id)
	require.NoError(t, err)
	require.Len(t, all, 3)
	first := all[2]
	assert.Equal(t, []any{`{"a":1}`, draft.Digest, "Physicist A", "Physicist B", store.ProfileSigned, "checked"},
		[]any{string(first.Body), first.Digest, first.Drafter, first.Signer, first.State, first.SignReason}, "as it was drafted")
	assert.Equal(t, second.Account, first.SignedBy)
	assert.True(t, first.SignedAt.After(first.DraftedAt))
	d := s.device(t, "2.25.7")
	assert.Equal(t, []int{0, 3}, []int{d.Drafts, d.Signed})
	other, err := s.db.SignedProfiles(ctx(), "2.25.8")
	require.NoError(t, err)
	assert.Empty(t, other)
}

// caseOn makes a case of a device on a local day.
func (s *site) caseOn(t *testing.T, key, day string) (study string) {
	t.Helper()
	r := s.seen(t, key, day, "Hybrid 1", "1.0")
	c := caseOf(r.PatientID, r.StudyUID)
	c.DeviceKey, c.LocalDate = key, day
	s.assess(t, versionOf(c, "first of "+r.StudyUID))
	return r.StudyUID
}

func signingAsks(t *testing.T, s *site) {
	studies := map[string]string{}
	for _, day := range []string{"2026-08-31", "2026-09-01", "2026-09-14", "2026-09-30", "2026-10-01"} {
		studies[day] = s.caseOn(t, "2.25.7", day)
	}
	s.caseOn(t, "2.25.8", "2026-09-14")
	id := s.device(t, "2.25.7").ID
	assert.Equal(t, 5, s.device(t, "2.25.7").Procedures)
	s.drain(t)
	_, open := s.signed(t, id, "2026-10-01", `{"a":1}`)
	assert.Equal(t, 1, open.Studies)
	assert.Equal(t, []string{studies["2026-10-01"]}, subjects(s.drain(t)))
	_, between := s.signed(t, id, "2026-09-01", `{"a":2}`)
	assert.Equal(t, []any{id, "2026-09-01", "2026-09-30", 3, 3}, []any{between.DeviceID, between.From, between.To, between.Studies, between.Waiting})
	j, err := s.db.Lease(ctx(), "worker", time.Minute)
	require.NoError(t, err)
	assert.Equal(t, store.Background, j.Priority)
	require.NoError(t, s.db.Finish(ctx(), j))
	got := append(subjects(s.drain(t)), j.Subject)
	assert.ElementsMatch(t, []string{studies["2026-09-01"], studies["2026-09-14"], studies["2026-09-30"]}, got)
	_, none := s.signed(t, id, "2027-01-01", `{"a":3}`)
	assert.Equal(t, store.Recomputation{}, none, "nothing to estimate anew")
	all, err := s.db.Recomputations(ctx(), "", 10)
	require.NoError(t, err)
	assert.Len(t, all, 2)
}

func imports(t *testing.T, s *site) {
	give := store.Profile{From: "2026-09-01", Body: []byte(`{"a":1}`), Drafter: "Physicist A", Reason: "device file"}
	p, changed, err := s.db.ImportProfile(ctx(), door, "2.25.7", give, "")
	require.NoError(t, err)
	assert.True(t, changed)
	assert.Equal(t, []any{1, store.ProfileDraft, "file"}, []any{p.Version, p.State, p.Origin})
	d := s.device(t, "2.25.7")
	assert.Equal(t, []any{0, "", 1}, []any{d.Reports, d.LastDay, d.Drafts}, "registered before its first report")
	before := s.records(t)
	_, changed, err = s.db.ImportProfile(ctx(), door, "2.25.7", give, "")
	require.NoError(t, err)
	assert.False(t, changed)
	assert.Equal(t, before, s.records(t))
	_, _, err = s.db.ImportProfile(ctx(), door, "2.25.7", give, "Physicist A")
	require.ErrorIs(t, err, store.ErrSamePerson)
	p, changed, err = s.db.ImportProfile(ctx(), door, "2.25.7", give, "Physicist B")
	require.NoError(t, err)
	assert.True(t, changed)
	assert.Equal(t, []any{1, store.ProfileSigned, "Physicist B"}, []any{p.Version, p.State, p.Signer}, "the file names the second physicist now")
	_, changed, err = s.db.ImportProfile(ctx(), door, "2.25.7", give, "Physicist B")
	require.NoError(t, err)
	assert.False(t, changed)
	give.Body = []byte(`{"a":2}`)
	p, _, err = s.db.ImportProfile(ctx(), door, "2.25.7", give, "Physicist B")
	require.NoError(t, err)
	assert.Equal(t, 2, p.Version, "other content is another version")
	s.seen(t, "2.25.7", "2026-09-02", "Hybrid 1", "1.0")
	assert.Equal(t, d.ID, s.device(t, "2.25.7").ID)
}
