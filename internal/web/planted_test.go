package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

const (
	plantedName   = "Plantedname^Petra"
	plantedNumber = "PLANTED-7734"
)

// planted makes a case that reached the published levels of Ka,r and of peak skin dose, with its notice. n tells cases apart.
func (r *rig) planted(n int) store.Case {
	r.t.Helper()
	ctx, number := context.Background(), fmt.Sprint(n)
	arrival, err := r.db.Receive(ctx, strings.NewReader("object "+number))
	require.NoError(r.t, err)
	require.NoError(r.t, arrival.Keep())
	got, _, err := r.db.Accept(ctx, store.System("test"), store.Arrival{Digest: arrival.Digest, Size: int64(len(arrival.Bytes)), Door: "test", StudyUID: "2.25." + number})
	require.NoError(r.t, err)
	require.NoError(r.t, r.db.SaveReport(ctx, r.lease(), store.Report{
		ReceiptID: got.ID, SOPInstance: "2.25.1" + number, DataSetDigest: "d" + number, ContentDigest: "c" + number, StudyUID: got.StudyUID, DeviceKey: "device",
		ContentAt: r.clock.Now(), Body: []byte("{}"),
	}, store.Identity{Number: plantedNumber, Name: plantedName, BirthDate: "1951-03-02", Sex: "F"}))
	reports, err := r.db.ReportsOfStudy(ctx, got.StudyUID)
	require.NoError(r.t, err)
	return r.assessed(store.Case{
		StudyUID: got.StudyUID, DeviceKey: "device", PatientID: reports[0].PatientID, Room: "Hybrid 1", State: "complete", Start: r.clock.Now(), LocalDate: "2026-09-14",
		Class: "aortic_complex", Description: "Branched repair <script>alert(1)</script>", FlagState: "reached", Complete: true,
		Kerma: quantity.Some[quantity.Gray](5.4321), PSD: quantity.Some[quantity.Gray](3.456), PSDLow: quantity.Some[quantity.Gray](2.5), PSDHigh: quantity.Some[quantity.Gray](4.6), PSDMethod: "map",
	})
}

func (r *rig) lease() store.Job {
	r.t.Helper()
	j, err := r.db.Lease(context.Background(), "test", time.Minute)
	require.NoError(r.t, err)
	return j
}

// assessed saves a version of a case, with the flags that its numbers make.
func (r *rig) assessed(c store.Case) store.Case {
	r.t.Helper()
	content, err := json.Marshal(notice.Content{
		Room: c.Room, Date: c.LocalDate, Time: "08:05", Class: c.Class, State: "complete", Flag: c.FlagState,
		Kerma: notice.Figure{Value: quantity.Some(float64(c.Kerma.Or(0))), Unit: "Gy", Shown: "5.43 Gy"},
	})
	require.NoError(r.t, err)
	flag := func(q level.Quantity, value, edge float64) store.Flag {
		state := "reached"
		if value < edge {
			state = "below"
		}
		return store.Flag{
			Scope: "this procedure", Scheme: "ncrp168", LevelID: string(q), Quantity: string(q), State: state, Value: quantity.Some(value), Level: quantity.Some(edge),
			Title: "NCRP 168 substantial levels", Meaning: "follow-up", Text: "follow-up: " + q.Print(value, edge), Basis: "reported", Source: "NCRP Report 168 (2010)",
		}
	}
	ids, err := r.db.SaveAssessment(context.Background(), r.lease(), []store.Version{{
		Case: c, Methods: "test", Digest: fmt.Sprint(c.StudyUID, c.Kerma, c.PSD), Change: "numbers", Summary: []byte("{}"), Body: []byte("body"),
		Flags:  []store.Flag{flag(level.Kerma, float64(c.Kerma.Or(0)), 5), flag(level.PSD, float64(c.PSD.Or(0)), 3)},
		Notice: &store.NewNotice{Kind: notice.First, Rank: notice.FollowUp, Urgent: true, Content: content},
	}})
	require.NoError(r.t, err)
	saved, err := r.db.Case(context.Background(), ids[0])
	require.NoError(r.t, err)
	return saved
}

// askOf gives the ask of a slot of a case, flagOf the flag of a quantity.
func (r *rig) askOf(c store.Case, slot string) store.AskRecord {
	r.t.Helper()
	all, err := r.db.Asks(context.Background(), store.AskFilter{CaseID: c.ID})
	require.NoError(r.t, err)
	for _, a := range all {
		if a.Slot == slot {
			return a
		}
	}
	require.Fail(r.t, "no ask", slot)
	return store.AskRecord{}
}

func (r *rig) flagOf(c store.Case, q level.Quantity) store.RaisedFlag {
	r.t.Helper()
	all, err := r.db.RaisedFlags(context.Background(), c.ID)
	require.NoError(r.t, err)
	for _, f := range all {
		if f.Quantity == q {
			return f
		}
	}
	require.Fail(r.t, "no flag", q)
	return store.RaisedFlag{}
}
