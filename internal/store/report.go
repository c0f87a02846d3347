package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/procedure"
)

// Report is one read dose report as the store keeps it. Body is the report in its own encoding without the patient's
// name, number and birth date.
type Report struct {
	ID            string
	ReceiptID     string
	SOPInstance   string
	DataSetDigest string
	ContentDigest string
	StudyUID      string
	DeviceKey     string
	PatientID     string
	ContentAt     time.Time
	Body          []byte
	// Persons are those whom the report names; SaveReport reads them.
	Persons []procedure.Person
	// Equipment is what the report says of its device, and Day its local day of irradiation, "" when it gives none. Both go
	// to the registry of devices and are not read back.
	Equipment Equipment
	Day       string
	// ReceivedAt is when the object arrived; the store knows it from the receipt.
	ReceivedAt time.Time
}

// SaveReport stores what was read of a receipt and asks for its study to be assessed, in one transaction with the end
// of the job. It finds or makes the patient, and opens reviews where identity or content do not fit.
func (db *DB) SaveReport(ctx context.Context, j Job, r Report, identity Identity) error {
	return db.change(ctx, System("pipeline"), func(c *change) error {
		var known string
		err := c.QueryRowContext(ctx, `SELECT id FROM report WHERE receipt_id = $1`, r.ReceiptID).Scan(&known)
		if err == nil {
			// Read before, by a worker that was taken for dead: nothing to add.
			return c.finish(ctx, j)
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		patient, doubts, err := c.resolve(ctx, identity, r.StudyUID)
		if err != nil {
			return err
		}
		r.ID, r.PatientID = newID(), patient
		var again int
		if err := c.QueryRowContext(ctx, `SELECT COUNT(*) FROM report WHERE dataset_digest = $1`, r.DataSetDigest).Scan(&again); err != nil {
			return err
		}
		if err := c.reviewReport(ctx, r, doubts); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO report (id, receipt_id, sop_instance, dataset_digest, content_digest, study_uid, device_key, patient_id, content_at, body)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			r.ID, r.ReceiptID, r.SOPInstance, r.DataSetDigest, r.ContentDigest, r.StudyUID, r.DeviceKey, r.PatientID, at(r.ContentAt), r.Body); err != nil {
			return fmt.Errorf("insert report: %w", err)
		}
		c.doses = true // of which there is no estimate yet
		if err := c.addPersons(ctx, r.ID, r.Persons, identity); err != nil {
			return err
		}
		if err := c.summarise(ctx, "k.study_uid = $1 AND k.device_key = $2 AND k.patient_id = $3", r.StudyUID, r.DeviceKey, r.PatientID); err != nil {
			return err
		}
		if err := c.setReceipt(ctx, r.ReceiptID, ReceiptRead, ""); err != nil {
			return err
		}
		if again == 0 {
			if err := c.seeDevice(ctx, r); err != nil {
				return err
			}
		}
		if err := c.want(ctx, JobAssess, r.StudyUID, j.Priority); err != nil {
			return err
		}
		if err := c.note(ctx, audit.Record{Action: "report.read", Object: r.ID, Patient: r.PatientID, After: r.DataSetDigest}); err != nil {
			return err
		}
		return c.finish(ctx, j)
	})
}

// detail says what is odd about an identity.
func (k ReviewKind) detail() string {
	switch k {
	case ReviewNoNumber:
		return "the report names no patient number; kept as a patient of this study alone"
	case ReviewIssuer:
		return "the number is known with another issuer, or with none, of what may be the same person; kept as a patient of its own"
	default:
		return "the number is known with another birth date or sex; kept as a patient of its own"
	}
}

// newDataSet leaves out a data set that came before in another encoding: it was looked at then, so that the number of
// reviews does not depend on the order of arrival.
const newDataSet = ` AND NOT EXISTS (SELECT 1 FROM report WHERE dataset_digest = $2)`

func (c *change) reviewReport(ctx context.Context, r Report, doubts []ReviewKind) error {
	for _, doubt := range doubts {
		if err := c.openReview(ctx, doubt, r.PatientID, r.ID, doubt.detail()); err != nil {
			return err
		}
	}
	checks := []struct {
		kind          ReviewKind
		query, detail string
		args          []any
	}{
		{
			ReviewSameInstance, `SELECT COUNT(*) FROM report WHERE sop_instance = $1 AND dataset_digest <> $2` + newDataSet,
			"another data set has the same SOP instance UID; both are kept, the first is authoritative",
			[]any{r.SOPInstance, r.DataSetDigest},
		},
		{
			ReviewSameContent, `SELECT COUNT(*) FROM report WHERE content_digest = $1 AND dataset_digest <> $2` + newDataSet,
			"the same content came before under another header; it counts once",
			[]any{r.ContentDigest, r.DataSetDigest},
		},
	}
	for _, check := range checks {
		var n int
		if err := c.QueryRowContext(ctx, check.query, check.args...).Scan(&n); err != nil {
			return err
		}
		if n == 0 {
			continue
		}
		if err := c.openReview(ctx, check.kind, r.PatientID, r.ID, check.detail); err != nil {
			return err
		}
	}
	return nil
}

// ReportsOfStudy gives every report read of a study with the identity of its patient.
func (db *DB) ReportsOfStudy(ctx context.Context, study string) ([]Report, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Report, error) {
		var one Report
		var content, received dbTime
		err := r.Scan(&one.ID, &one.ReceiptID, &one.SOPInstance, &one.DataSetDigest, &one.ContentDigest, &one.StudyUID, &one.DeviceKey, &one.PatientID,
			&content, &one.Body, &received)
		one.ContentAt, one.ReceivedAt = content.Time, received.Time
		return one, err
	}, `SELECT r.id, r.receipt_id, r.sop_instance, r.dataset_digest, r.content_digest, r.study_uid, r.device_key, r.patient_id, r.content_at, r.body,
		k.received_at FROM report r JOIN receipt k ON k.id = r.receipt_id WHERE r.study_uid = $1 ORDER BY r.dataset_digest, r.id`, study)
}
