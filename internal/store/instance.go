package store

import (
	"context"
	"database/sql"
	"strings"
)

// Instance is one kept DICOM object that is no quarantined one. Of several objects with one SOP instance UID it is the
// one that came first.
type Instance struct {
	Receipt   Receipt
	SeriesUID string
	// PatientID is "" until the object was read.
	PatientID string
}

// InstanceGroup is a study or a series of kept objects.
type InstanceGroup struct {
	Instance          // one of them
	Series, Instances int
}

// InstanceFilter narrows lists of kept objects. What is nil or "" does not narrow; of a list one has to match.
type InstanceFilter struct {
	// Rooms is the caller's scope: nil is every room. An object belongs to the room of its procedure, so that one that was
	// not read yet is shown to nobody whose rooms are limited.
	Rooms                               []string
	Studies, Series, Instances, Classes []string
	FromDate, ToDate                    string // study dates (yyyymmdd), both included
	Limit, Offset                       int
}

// Instances lists kept objects in the order in which they came.
func (db *DB) Instances(ctx context.Context, f InstanceFilter) ([]Instance, error) {
	query, args := f.query()
	return rows(ctx, db.read, func(r *sql.Rows) (Instance, error) {
		var i Instance
		err := i.scan(r)
		return i, err
	}, query, args...)
}

func (f InstanceFilter) query() (string, []any) {
	from, args := f.from()
	return `SELECT ` + instanceColumns + from + ` ORDER BY k.received_at, k.id` + f.page(&args), args
}

// InstanceStudies lists the studies of kept objects in the order in which their first ones came.
func (db *DB) InstanceStudies(ctx context.Context, f InstanceFilter) ([]InstanceGroup, error) {
	return db.groups(ctx, f, "k.study_uid")
}

// InstanceSeries lists the series of kept objects in the order in which their first ones came.
func (db *DB) InstanceSeries(ctx context.Context, f InstanceFilter) ([]InstanceGroup, error) {
	return db.groups(ctx, f, "k.study_uid, k.series_uid")
}

func (db *DB) groups(ctx context.Context, f InstanceFilter, by string) ([]InstanceGroup, error) {
	from, args := f.from()
	query := `WITH found AS (SELECT MIN(k.id) AS one, MIN(k.received_at) AS came, COUNT(DISTINCT k.series_uid) AS series, COUNT(*) AS instances` +
		from + ` GROUP BY ` + by + ` ORDER BY came, one` + f.page(&args) + `)
		SELECT ` + instanceColumns + `, found.series, found.instances FROM found JOIN receipt k ON k.id = found.one
		LEFT JOIN report p ON p.receipt_id = k.id ORDER BY found.came, found.one`
	return rows(ctx, db.read, func(r *sql.Rows) (InstanceGroup, error) {
		var g InstanceGroup
		err := g.scan(r, &g.Series, &g.Instances)
		return g, err
	}, query, args...)
}

const instanceColumns = `k.id, k.digest, k.size, k.door, k.source, k.received_at, k.sop_class, k.sop_instance, k.study_uid, k.state, k.reason,
	k.series_uid, COALESCE(p.patient_id, '')`

func (i *Instance) scan(r *sql.Rows, more ...any) error {
	var received dbTime
	k := &i.Receipt
	err := r.Scan(append([]any{
		&k.ID, &k.Digest, &k.Size, &k.Door, &k.Source, &received, &k.SOPClass, &k.SOPInstance, &k.StudyUID, &k.State, &k.Reason,
		&i.SeriesUID, &i.PatientID,
	}, more...)...)
	k.ReceivedAt = received.Time
	return err
}

// from gives the tables and conditions of a list.
func (f InstanceFilter) from() (string, []any) {
	var args []any
	terms := []string{
		// Said by what they are not: the index of states would lead through all of them.
		`k.state <> 'quarantined' AND k.state <> 'discarded'`,
		`NOT EXISTS (SELECT 1 FROM receipt e WHERE e.sop_instance = k.sop_instance AND e.state <> 'quarantined' AND e.state <> 'discarded'
			AND (e.received_at, e.id) < (k.received_at, k.id))`,
	}
	for _, list := range []struct {
		column string
		values []string
	}{{"k.study_uid", f.Studies}, {"k.series_uid", f.Series}, {"k.sop_instance", f.Instances}, {"k.sop_class", f.Classes}} {
		if list.values != nil {
			terms = append(terms, list.column+" IN ("+placeholders(&args, list.values)+")")
		}
	}
	if f.FromDate != "" {
		terms = append(terms, "k.study_date >= "+placeholder(&args, f.FromDate))
	}
	if f.ToDate != "" {
		terms = append(terms, "k.study_date <> '' AND k.study_date <= "+placeholder(&args, f.ToDate))
	}
	if f.Rooms != nil {
		terms = append(terms, `EXISTS (SELECT 1 FROM procedure_case c WHERE c.study_uid = p.study_uid AND c.device_key = p.device_key
			AND c.patient_id = p.patient_id AND c.room IN (`+placeholders(&args, f.Rooms)+`))`)
	}
	return ` FROM receipt k LEFT JOIN report p ON p.receipt_id = k.id WHERE ` + strings.Join(terms, " AND "), args
}

func (f InstanceFilter) page(args *[]any) string {
	if f.Limit <= 0 {
		return ""
	}
	return ` LIMIT ` + placeholder(args, f.Limit) + ` OFFSET ` + placeholder(args, f.Offset)
}

// placeholders adds a list of arguments and gives their marks; an empty list matches nothing.
func placeholders(args *[]any, values []string) string {
	marks := []string{"NULL"}
	for _, v := range values {
		marks = append(marks, placeholder(args, v))
	}
	return strings.Join(marks, ", ")
}
