package store

import (
	"context"
	"database/sql"
	"time"
)

// Unassessed is a study of a patient on one device whose reports are here while no estimate stands for all of them.
type Unassessed struct {
	StudyUID, DeviceKey string
	// ContentAt is the earliest time that its reports give.
	ContentAt time.Time
	Reports   int
	// Lack says how far it came.
	Lack Lack
	// CaseID is the case whose newest estimate may be without the newest reports, "" where there is no case at all.
	CaseID string
}

// Lack is why a study has no estimate, or none with its newest reports.
type Lack string

// The lacks. LackFailed is not tried again until somebody asks for it or a new report comes; LackNoCase was assessed, and its
// reports gave no case: they count for nothing beside others, or wait in review.
const (
	LackFailed  Lack = "failed"
	LackWaiting Lack = "waiting"
	LackNoCase  Lack = "no case"
)

// unassessed finds what reports of $1's group have no case, or one whose assessment failed for good afterwards.
const unassessed = `SELECT r.study_uid, r.device_key, MIN(r.content_at), COUNT(DISTINCT r.dataset_digest), COALESCE(MAX(j.state), ''), COALESCE(MAX(c.id), '')
	FROM patient me JOIN patient p ON p.survivor = me.survivor JOIN report r ON r.patient_id = p.id
	LEFT JOIN job j ON j.kind = 'assess' AND j.subject = r.study_uid
	LEFT JOIN procedure_case c ON c.study_uid = r.study_uid AND c.device_key = r.device_key AND c.patient_id = r.patient_id AND c.basis <> 'replaced'
	WHERE me.id = $1 AND (c.id IS NULL OR j.state = 'failed')
	GROUP BY r.study_uid, r.device_key, r.patient_id ORDER BY MIN(r.content_at), r.study_uid, r.device_key`

// Unassessed lists what the sums of a patient, and of the records linked to it, may lack because it was not assessed, by time.
func (db *DB) Unassessed(ctx context.Context, patient string) ([]Unassessed, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Unassessed, error) {
		var u Unassessed
		var at dbTime
		var job string
		err := r.Scan(&u.StudyUID, &u.DeviceKey, &at, &u.Reports, &job, &u.CaseID)
		u.ContentAt, u.Lack = at.Time, lackOf(job)
		return u, err
	}, unassessed, patient)
}

func lackOf(job string) Lack {
	switch job {
	case "failed":
		return LackFailed
	case "ready", "leased":
		return LackWaiting
	}
	return LackNoCase
}
