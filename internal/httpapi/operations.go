package httpapi

import (
	"context"
	"math"
	"time"

	"afterbeam/internal/metric"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
)

// GetOperations says how the service itself stands. The alarms are those of the measurements, by the same table.
func (h *handlers) GetOperations(ctx context.Context, _ GetOperationsRequestObject) (GetOperationsResponseObject, error) {
	s, err := h.cfg.Upkeep.State(ctx)
	if err != nil {
		return nil, err
	}
	work, err := h.store.Backlog(ctx)
	if err != nil {
		return nil, err
	}
	families, err := h.metrics.registry.Gather()
	if err != nil {
		return nil, err
	}
	now := h.cfg.Now()
	out := Operations{
		At: now, Program: s.Program, StartedAt: s.Started, Schema: s.Schema, Holds: s.Holds, Problems: append([]string{}, s.Problems...),
		Alarms: every(metric.Now(families), encodeAlarm), Runs: every(s.Runs, encodeRun),
		Backups: OperationsBackups{
			Configured: s.Backups.Dir != "", EveryHours: int(s.Backups.Every / time.Hour), Keep: s.Backups.Keep, Verified: s.Backups.Verify,
			Kept: len(s.Backups.Kept), LateSeconds: int64(s.Backups.Late / time.Second), Failed: s.Backups.Failed,
		},
	}
	if len(s.Backups.Kept) > 0 {
		out.Backups.NewestAt = moment(s.Backups.Kept[0].At)
	}
	out.Queue.Waiting, out.Queue.Failed, out.Queue.OldestAt = work.Waiting, work.Failed, moment(work.Oldest)
	out.Audit.Records, out.Audit.State = int64(s.Chain.Head.Sequence), chainState(s.Chain)
	out.Audit.SoundAt, out.Audit.Detail = moment(s.Chain.SoundAt), text(s.Chain.Detail)
	out.Disks = every(s.Disks, func(d upkeep.Disk) OperationsDisk {
		return OperationsDisk{Name: OperationsDiskName(d.Name), FreeBytes: d.Free, TotalBytes: d.Total, FreePercent: math.Round(d.Share()*1000) / 10}
	})
	out.Certificates = every(s.Certificates, func(c upkeep.Certificate) OperationsCertificate {
		return OperationsCertificate{Name: OperationsCertificateName(c.Name), EndsAt: c.Ends, Days: int(math.Floor(c.Ends.Sub(now).Hours() / 24))}
	})
	return GetOperations200JSONResponse(out), nil
}

func chainState(c upkeep.ChainState) OperationsAuditState {
	switch {
	case !c.Checked:
		return "unchecked"
	case c.Sound:
		return "whole"
	}
	return "broken"
}

func encodeAlarm(a metric.Raised) OperationsAlarm {
	out := OperationsAlarm{Id: a.ID, Severity: OperationsAlarmSeverity(a.Severity), Series: text(a.Series), Limit: a.Limit, Means: a.Means, WhatToDo: a.Do}
	if !math.IsInf(a.Value, 0) && !math.IsNaN(a.Value) {
		out.Value = &a.Value
	}
	return out
}

func encodeRun(r store.Run) OperationsRun {
	return OperationsRun{Kind: OperationsRunKind(r.Kind), BegunAt: r.BegunAt, EndedAt: moment(r.EndedAt), Outcome: OperationsRunOutcome(r.Outcome), Detail: text(r.Detail)}
}
