package conformance

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func instanceTests() []test {
	return []test{
		{"lists narrow by UIDs, dates and rooms", instancesNarrow},
		{"studies and series are counted", instancesCount},
		{"the first of one UID stands for it", instancesFirst},
		{"pages hold every instance once", instancePages},
	}
}

// arrive keeps an object with its UIDs.
func (s *site) arrive(t *testing.T, a store.Arrival) store.Receipt {
	t.Helper()
	kept, err := s.db.Receive(ctx(), bytes.NewReader([]byte(fmt.Sprintf("object %d", s.next()))))
	require.NoError(t, err)
	require.NoError(t, kept.Keep())
	a.Digest, a.Size = kept.Digest, int64(len(kept.Bytes))
	r, _, err := s.db.Accept(ctx(), door, a)
	require.NoError(t, err)
	return r
}

// inRoom reads an object as a report of a room.
func (s *site) inRoom(t *testing.T, room string, a store.Arrival) string {
	t.Helper()
	receipt := s.arrive(t, a)
	n := s.next()
	require.NoError(t, s.db.SaveReport(ctx(), s.lease(t, store.JobRead, receipt.ID), store.Report{
		ReceiptID: receipt.ID, SOPInstance: a.SOPInstance, DataSetDigest: fmt.Sprintf("set %d", n), ContentDigest: fmt.Sprintf("content %d", n),
		StudyUID: a.StudyUID, DeviceKey: room, ContentAt: s.clock.Now(), Body: []byte("{}"),
	}, store.Identity{Number: "N1", Issuer: "Saltmarsh"}))
	all, err := s.db.ReportsOfStudy(ctx(), a.StudyUID)
	require.NoError(t, err)
	c := caseOf(all[0].PatientID, a.StudyUID)
	c.DeviceKey, c.Room = room, room
	s.assess(t, versionOf(c, "digest of "+a.SOPInstance))
	return all[0].PatientID
}

func arrival(study, series, instance, date string) store.Arrival {
	return store.Arrival{SOPClass: "1.2.840.10008.5.1.4.1.1.88.67", SOPInstance: instance, StudyUID: study, SeriesUID: series, StudyDate: date}
}

func instancesNarrow(t *testing.T, s *site) {
	patient := s.inRoom(t, "Hybrid 1", arrival("2.25.1", "2.25.11", "2.25.111", "20260914"))
	s.inRoom(t, "Cath 2", arrival("2.25.1", "2.25.12", "2.25.121", "20260914"))
	s.arrive(t, arrival("2.25.2", "2.25.21", "2.25.211", ""))
	waiting := arrival("2.25.3", "2.25.31", "2.25.311", "20260916")
	waiting.Quarantine = "another kind of object"
	s.arrive(t, waiting)
	for name, tt := range map[string]struct {
		give store.InstanceFilter
		want []string
	}{
		"all":             {store.InstanceFilter{}, []string{"2.25.111", "2.25.121", "2.25.211"}},
		"a study":         {store.InstanceFilter{Studies: []string{"2.25.1"}}, []string{"2.25.111", "2.25.121"}},
		"a series":        {store.InstanceFilter{Series: []string{"2.25.12", "2.25.99"}}, []string{"2.25.121"}},
		"an instance":     {store.InstanceFilter{Instances: []string{"2.25.211"}}, []string{"2.25.211"}},
		"a class":         {store.InstanceFilter{Classes: []string{"1.2.3"}}, nil},
		"an empty list":   {store.InstanceFilter{Studies: []string{}}, nil},
		"from a day":      {store.InstanceFilter{FromDate: "20260914"}, []string{"2.25.111", "2.25.121"}},
		"to a day":        {store.InstanceFilter{ToDate: "20260914"}, []string{"2.25.111", "2.25.121"}},
		"to a day before": {store.InstanceFilter{ToDate: "20260913"}, nil},
		"a room":          {store.InstanceFilter{Rooms: []string{"Cath 2"}}, []string{"2.25.121"}},
		"no room":         {store.InstanceFilter{Rooms: []string{}}, nil},
	} {
		got, err := s.db.Instances(ctx(), tt.give)
		require.NoError(t, err, name)
		assert.Equal(t, tt.want, instanceUIDs(got), name)
	}
	got, err := s.db.Instances(ctx(), store.InstanceFilter{Instances: []string{"2.25.111"}})
	require.NoError(t, err)
	assert.Equal(t, patient, got[0].PatientID)
	assert.Equal(t, "2.25.11", got[0].SeriesUID)
	receipt, err := s.db.Receipt(ctx(), got[0].Receipt.ID)
	require.NoError(t, err)
	assert.Equal(t, receipt, got[0].Receipt)
}

func instanceUIDs(all []store.Instance) []string {
	var uids []string
	for _, i := range all {
		uids = append(uids, i.Receipt.SOPInstance)
	}
	return uids
}

func instancesCount(t *testing.T, s *site) {
	for _, uids := range [][3]string{{"2.25.2", "2.25.21", "2.25.211"}, {"2.25.1", "2.25.11", "2.25.111"}, {"2.25.2", "2.25.21", "2.25.212"}, {"2.25.2", "2.25.22", "2.25.221"}} {
		s.arrive(t, arrival(uids[0], uids[1], uids[2], "20260914"))
	}
	type count struct {
		study, series     string
		nSeries, nObjects int
	}
	counted := func(all []store.InstanceGroup, err error) (out []count) {
		require.NoError(t, err)
		for _, g := range all {
			out = append(out, count{g.Receipt.StudyUID, g.SeriesUID, g.Series, g.Instances})
		}
		return out
	}
	studies := counted(s.db.InstanceStudies(ctx(), store.InstanceFilter{}))
	require.Len(t, studies, 2, "the study whose first object came first stands first")
	studies[0].series = "" // one of them
	assert.Equal(t, []count{{"2.25.2", "", 2, 3}, {"2.25.1", "2.25.11", 1, 1}}, studies)
	assert.Equal(t, []count{{"2.25.2", "2.25.21", 1, 2}, {"2.25.2", "2.25.22", 1, 1}},
		counted(s.db.InstanceSeries(ctx(), store.InstanceFilter{Studies: []string{"2.25.2"}})))
	assert.Equal(t, []count{{"2.25.1", "2.25.11", 1, 1}}, counted(s.db.InstanceStudies(ctx(), store.InstanceFilter{Limit: 5, Offset: 1})))
}

func instancesFirst(t *testing.T, s *site) {
	first := s.arrive(t, arrival("2.25.1", "2.25.11", "2.25.111", ""))
	s.arrive(t, arrival("2.25.1", "2.25.11", "2.25.111", ""))
	got, err := s.db.Instances(ctx(), store.InstanceFilter{})
	require.NoError(t, err)
	require.Len(t, got, 1)
	assert.Equal(t, first.ID, got[0].Receipt.ID)
}

func instancePages(t *testing.T, s *site) {
	var want, got []string
	for i := range 7 {
		uid := fmt.Sprintf("2.25.1%d", i)
		s.arrive(t, arrival("2.25.1", "2.25.11", uid, ""))
		want = append(want, uid)
	}
	for offset := 0; offset < 9; offset += 3 {
		page, err := s.db.Instances(ctx(), store.InstanceFilter{Limit: 3, Offset: offset})
		require.NoError(t, err)
		got = append(got, instanceUIDs(page)...)
	}
	assert.Equal(t, want, got)
}
