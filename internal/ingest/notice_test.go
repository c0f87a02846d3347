package ingest_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// told gives the notices of the only case of a study with their contents, the newest first.
func (r *rig) told(t *testing.T, study string) ([]store.Notice, []notice.Content) {
	t.Helper()
	all, err := r.db.NoticesOf(t.Context(), r.the(t, study).Case.ID)
	require.NoError(t, err)
	contents := make([]notice.Content, len(all))
	for i, n := range all {
		require.NoError(t, json.Unmarshal(n.Content, &contents[i]))
	}
	return all, contents
}

// inUnit gives a quantity as a number in a unit of the given size.
func inUnit[T ~float64](v quantity.Opt[T], size T) quantity.Opt[float64] {
	x, ok := v.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(float64(x / size))
}

// withKerma gives a report whose plane announces a total air kerma, and kerma-area product to match.
func withKerma(r procedure.Report, total quantity.Gray) procedure.Report {
	r.Planes = append([]procedure.PlaneTotal{}, r.Planes...)
	before := r.Planes[0].RefKerma.Or(1)
	r.Planes[0].RefKerma, r.Planes[0].KAP = quantity.Some(total), quantity.Some(r.Planes[0].KAP.Or(0)*quantity.GraySquareMetre(total/before))
	return r
}

// A level is reached, told at once with what is asked, and after an amended report that takes it back the operator is told that
// it no longer holds. The numbers are those of the stored result.
func TestAmendedReportIsTold(t *testing.T) {
	r := newRig(t)
	whole := scene(t, stageOne, 6)
	r.send(t, withKerma(cut(whole, 0, 6, ""), 5.499))
	r.work(t)
	all, contents := r.told(t, whole.StudyUID)
	require.Len(t, all, 1)
	assert.Equal(t, notice.First, all[0].Kind)
	assert.Equal(t, notice.FollowUp, all[0].Rank)
	assert.True(t, all[0].Urgent)
	c, kept := contents[0], r.the(t, whole.StudyUID).Case
	assert.Equal(t, "5.50 Gy", c.Kerma.Shown)
	for name, pair := range map[string][2]quantity.Opt[float64]{
		"Ka,r": {inUnit(kept.Kerma, 1), c.Kerma.Value}, "KAP": {inUnit(kept.KAP, quantity.GraySquareCentimetre), c.KAP.Value}, "peak": {inUnit(kept.PSD, 1), c.Skin.Value},
		"its high end": {inUnit(kept.PSDHigh, 1), c.Skin.High}, "effective": {inUnit(kept.Effective, quantity.MilliSievert), c.Whole.Value},
	} {
		assert.Equal(t, pair[0], pair[1], name)
	}
	assert.Equal(t, kept.FlagState, c.Flag)
	require.NotEmpty(t, c.Asks, "what is asked")
	for _, one := range c.Asks {
		assert.NotEmpty(t, one.Due, "by when: %s", one.Kind)
	}

	late := withKerma(cut(whole, 0, 6, "2.25.99.1"), 4.4)
	late.Content.Time = whole.Content.Time.Add(5 * time.Minute)
	r.clock.Pass(time.Hour)
	r.send(t, late)
	r.work(t)
	all, contents = r.told(t, whole.StudyUID)
	require.Len(t, all, 2)
	assert.Equal(t, notice.Amend, all[0].Kind)
	assert.Equal(t, notice.FollowUp, all[0].Rank, "who was told of the flag is told that it is gone")
	assert.False(t, all[0].Urgent, "%+v", contents[0].Amended.New)
	change := contents[0].Amended
	require.NotNil(t, change)
	require.NotEmpty(t, change.Gone)
	for _, l := range change.Gone {
		assert.Equal(t, "kar", l.Quantity)
		assert.Equal(t, "5.00 Gy", l.ShownLevel)
	}
	assert.Contains(t, change.Why, "1 new report")
	assert.Len(t, contents[1].Levels, len(c.Levels), "what was told stays as it was")
}

// The second stage of a repair tells what the first one adds.
func TestSecondStageIsToldWithTheFirst(t *testing.T) {
	r := newRig(t)
	first, second := scene(t, stageOne, 6), scene(t, stageTwo, 6)
	r.send(t, first)
	r.settle(t)
	r.send(t, second)
	r.settle(t)
	_, before := r.told(t, first.StudyUID)
	require.NotEmpty(t, before)
	assert.Nil(t, before[0].Earlier)
	_, contents := r.told(t, second.StudyUID)
	require.NotEmpty(t, contents)
	e := contents[len(contents)-1].Earlier
	require.NotNil(t, e)
	assert.Equal(t, 1, e.Procedures)
	assert.Equal(t, 60, e.Days)
	assert.True(t, e.Mapped)
	assert.NotEmpty(t, e.OwnShown)
	own, _ := contents[len(contents)-1].Skin.Value.Get()
	sum, ok := e.Skin.Value.Get()
	require.True(t, ok)
	assert.GreaterOrEqual(t, sum, own)
}
