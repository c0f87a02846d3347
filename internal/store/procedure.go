package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/quantity"
)

// Case is one procedure as lists and sums need it: its newest numbers as columns, in canonical units.
type Case struct {
	ID           string
	StudyUID     string
	DeviceKey    string
	PatientID    string
	Room         string
	State        string // provisional, complete, amended
	Start        time.Time
	LocalDate    string // 2006-01-02 where it was done
	OffsetSource int
	Class        string
	Description  string
	Quality      bool // a quality-control exposure
	Version      int
	FlagState    string

	Kerma      quantity.Opt[quantity.Gray]
	KAP        quantity.Opt[quantity.GraySquareMetre]
	FluoroTime quantity.Opt[quantity.Second]
	// Complete tells that Kerma and KAP hold every plane. What a sum over cases must know besides is in Gaps.
	Complete                               bool
	PSD, PSDLow, PSDHigh                   quantity.Opt[quantity.Gray]
	PSDMethod                              string
	Effective, EffectiveLow, EffectiveHigh quantity.Opt[quantity.Sievert]
	EffectiveMethod                        string
	Gaps                                   Gaps
	// KermaFactor and KAPFactor are the signed calibration factors of the display on that day, measured over displayed.
	KermaFactor, KAPFactor quantity.Opt[float64]
	// FieldAtSkin is the mean field at the skin, by which levels of KAP scale.
	FieldAtSkin quantity.Opt[quantity.SquareMetre]
	UpdatedAt   time.Time
	// HasMap tells whether the newest version has a skin dose map; the store says so.
	HasMap bool
	// Accession is the number of the order, "" when the report names none.
	Accession string
	// Basis is what the case is made of.
	Basis Basis
	// Digest is that of the newest version; the store says so, for the cases of a patient alone.
	Digest string
	// Operators are the accounts whose persons took part; the store says so.
	Operators []string
}

// Basis is what a case is made of.
type Basis string

// The bases. A case of BasisReplaced was made from the totals of a performed step, and a dose report came afterwards: it
// counts nowhere and is in no list.
const (
	BasisReport   Basis = ""
	BasisTotals   Basis = "performed totals"
	BasisReplaced Basis = "replaced"
)

// Gaps says which numbers of a case are only known in part or not believed.
type Gaps uint8

// The gaps.
const (
	GapKerma     Gaps = 1 << iota // Kerma lacks a plane or is absent
	GapKAP                        // KAP lacks a plane or is absent
	GapTime                       // FluoroTime lacks a plane or is absent
	SuspectKerma                  // Kerma is not believed
	SuspectKAP                    // KAP is not believed
	LowerBound                    // PSD may lie above its range
)

// Has tells whether the gaps hold g.
func (g Gaps) Has(one Gaps) bool { return g&one != 0 }

// Flag is one level's result for a case version.
type Flag struct {
	Scope    string // case, or the window such as "60 days"
	Scheme   string
	LevelID  string
	Quantity string
	State    string
	Value    quantity.Opt[float64]
	Level    quantity.Opt[float64]
	Basis    string
	Text     string
	Source   string
}

// Version is one estimate that was made of a case; versions are only ever added.
type Version struct {
	Case    Case
	Number  int
	MadeAt  time.Time
	Program string
	Methods string // method and table versions
	// Digest names the inputs and result: an assessment with the digest of the newest version adds nothing.
	Digest string
	// Change says what differs from the version before.
	Change string
	// Summary is the result as the API shows it, Body what a later assessment and the API's detail need, Map the
	// patch doses; Body and Map are compressed.
	Summary, Body, Map []byte
	Flags              []Flag
	Events             []EventPlace
	// Window says which other cases the flags over a window rest on; SaveAssessment reads it.
	Window Window
	// Skin is what the version and others of the patient together left on the skin; SaveAssessment keeps it.
	Skin []SkinSum
}

// EventPlace says which procedure an irradiation event belongs to.
type EventPlace struct {
	UID   string
	Plane int
}

// Later asks for a study to be assessed at a time to come.
type Later struct {
	Study string
	Due   time.Time // the zero time is now
}

// SaveAssessment stores the cases that a study gave, each as a new version where anything changed, with flags in the
// same transaction, asks for what must follow, and ends the job. It gives the ids of the cases in order.
func (db *DB) SaveAssessment(ctx context.Context, j Job, versions []Version, later ...Later) (ids []string, err error) {
	err = db.change(ctx, System("pipeline"), func(c *change) error {
		ids = ids[:0]
		var recomputations []string
		if j.Kind == JobAssess {
			if recomputations, err = c.open(ctx, j.Subject); err != nil {
				return err
			}
		}
		for _, v := range versions {
			id, err := c.saveVersion(ctx, v, j.Priority, recomputations)
			if err != nil {
				return err
			}
			ids = append(ids, id)
			if err := c.keepSkin(ctx, v.Skin); err != nil {
				return err
			}
		}
		for i, v := range versions {
			if err := c.follow(ctx, v, ids[i], j.Priority, recomputations); err != nil {
				return err
			}
		}
		if err := c.settleStudies(ctx, j, recomputations); err != nil {
			return err
		}
		// Ended first: a job that asks for itself later is ready again afterwards.
		if err := c.finish(ctx, j); err != nil {
			return err
		}
		for _, l := range later {
			if err := c.wantAt(ctx, JobAssess, l.Study, j.Priority, l.Due); err != nil {
				return err
			}
		}
		return nil
	})
	return ids, err
}

func (c *change) saveVersion(ctx context.Context, v Version, priority Priority, recomputations []string) (string, error) {
	v.MadeAt, v.Program = c.db.now(), c.db.program
	var digest string
	err := c.QueryRowContext(ctx, `SELECT p.id, p.version, v.digest FROM procedure_case p
		JOIN procedure_version v ON v.procedure_id = p.id AND v.version = p.version
		WHERE p.study_uid = $1 AND p.device_key = $2 AND p.patient_id = $3`, v.Case.StudyUID, v.Case.DeviceKey, v.Case.PatientID).
		Scan(&v.Case.ID, &v.Number, &digest)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		v.Case.ID, v.Number = newID(), 0
	case err != nil:
		return "", err
	case digest == v.Digest:
		return v.Case.ID, nil
	}
	first := v.Number == 0
	v.Number++
	v.Case.Version = v.Number
	if err := c.differ(ctx, recomputations, v.Case); err != nil {
		return "", err
	}
	if err := c.writeVersion(ctx, v); err != nil {
		return "", err
	}
	if first {
		if err := c.followFirst(ctx, v.Case, priority); err != nil {
			return "", err
		}
	}
	return v.Case.ID, c.note(ctx, audit.Record{
		Action: "estimate.make", Object: fmt.Sprintf("%s/%d", v.Case.ID, v.Number), Patient: v.Case.PatientID, Reason: v.Change, Before: digest, After: v.Digest,
	})
}

// writeVersion writes a version with its flags and events, and its numbers as those of the case.
func (c *change) writeVersion(ctx context.Context, v Version) error {
	if err := c.writeCase(ctx, v); err != nil {
		return err
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO procedure_version (procedure_id, version, made_at, program, methods, digest, change, summary, body, map)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		v.Case.ID, v.Number, at(v.MadeAt), v.Program, v.Methods, v.Digest, v.Change, string(v.Summary), v.Body, v.Map); err != nil {
		return fmt.Errorf("insert version: %w", err)
	}
	if err := c.writeFlags(ctx, v); err != nil {
		return err
	}
	return c.writeEvents(ctx, v)
}

// followFirst does what the first version of a case brings with it. What performed steps said before there was a case
// becomes facts of it now, and another estimate with them.
func (c *change) followFirst(ctx context.Context, first Case, priority Priority) error {
	if first.Basis == BasisReport {
		if err := c.wantTotals(ctx, first, priority); err != nil {
			return err
		}
	}
	added, err := c.factsFromSteps(ctx, first.StudyUID)
	if err != nil || !added {
		return err
	}
	return c.want(ctx, JobAssess, first.StudyUID, priority)
}

func (c *change) writeCase(ctx context.Context, v Version) error {
	c.doses = true
	p := v.Case
	_, offset := p.Start.Zone()
	_, err := c.ExecContext(ctx, `INSERT INTO procedure_case (id, study_uid, device_key, patient_id, room, state, start_at, local_date, start_offset, offset_source,
			class, description, quality, version, flag_state, kerma_gy, kap_gym2, fluoro_s, psd_gy, psd_low_gy, psd_high_gy, psd_method,
			effective_sv, effective_low_sv, effective_high_sv, effective_method, complete_doses, updated_at, gaps, kerma_factor, kap_factor, field_m2, has_map, accession, basis)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25, $26, $27, $28, $29, $30, $31, $32, $33, $34, $35)
		ON CONFLICT (id) DO UPDATE SET room = $5, state = $6, start_at = $7, local_date = $8, start_offset = $9, offset_source = $10, class = $11, description = $12,
			quality = $13, version = $14, flag_state = $15, kerma_gy = $16, kap_gym2 = $17, fluoro_s = $18, psd_gy = $19, psd_low_gy = $20, psd_high_gy = $21,
			psd_method = $22, effective_sv = $23, effective_low_sv = $24, effective_high_sv = $25, effective_method = $26, complete_doses = $27, updated_at = $28, gaps = $29, kerma_factor = $30, kap_factor = $31, field_m2 = $32, has_map = $33, accession = $34, basis = $35`,
		p.ID, p.StudyUID, p.DeviceKey, p.PatientID, p.Room, p.State, at(p.Start), p.LocalDate, offset, p.OffsetSource, p.Class, p.Description, p.Quality,
		p.Version, p.FlagState, null(p.Kerma), null(p.KAP), null(p.FluoroTime), null(p.PSD), null(p.PSDLow), null(p.PSDHigh), p.PSDMethod,
		null(p.Effective), null(p.EffectiveLow), null(p.EffectiveHigh), p.EffectiveMethod, p.Complete, at(v.MadeAt),
		p.Gaps, null(p.KermaFactor), null(p.KAPFactor), null(p.FieldAtSkin), len(v.Map) > 0, p.Accession, p.Basis)
	if err != nil {
		return fmt.Errorf("write case: %w", err)
	}
	return nil
}

func (c *change) writeFlags(ctx context.Context, v Version) error {
	for i, f := range v.Flags {
		if _, err := c.ExecContext(ctx, `INSERT INTO flag (procedure_id, version, place, scope, scheme, level_id, quantity, state, value, level, basis, text, source)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
			v.Case.ID, v.Number, i, f.Scope, f.Scheme, f.LevelID, f.Quantity, f.State, null(f.Value), null(f.Level), f.Basis, f.Text, f.Source); err != nil {
			return fmt.Errorf("insert flag: %w", err)
		}
	}
	return nil
}

// writeEvents says which events the case has now; those it had in an older version only are of no case any more.
func (c *change) writeEvents(ctx context.Context, v Version) (err error) {
	if _, err := c.ExecContext(ctx, `DELETE FROM event_place WHERE procedure_id = $1`, v.Case.ID); err != nil {
		return fmt.Errorf("clear event places: %w", err)
	}
	insert, err := c.PrepareContext(ctx, `INSERT INTO event_place (event_uid, plane, procedure_id) VALUES ($1, $2, $3)
		ON CONFLICT (event_uid, plane, procedure_id) DO NOTHING`)
	if err != nil {
		return fmt.Errorf("insert event places: %w", err)
	}
	defer func() { err = errors.Join(err, insert.Close()) }()
	for _, e := range v.Events {
		if _, err := insert.ExecContext(ctx, e.UID, e.Plane, v.Case.ID); err != nil {
			return fmt.Errorf("insert event place: %w", err)
		}
	}
	return nil
}

// null gives an absent value as NULL.
func null[T ~float64](o quantity.Opt[T]) sql.NullFloat64 {
	v, ok := o.Get()
	return sql.NullFloat64{Float64: float64(v), Valid: ok}
}

// opt is the way back from a nullable column.
type opt[T ~float64] struct{ to *quantity.Opt[T] }

// Scan reads NULL as absent.
func (o opt[T]) Scan(src any) error {
	var n sql.NullFloat64
	if err := n.Scan(src); err != nil {
		return err
	}
	*o.to = quantity.None[T]()
	if n.Valid {
		*o.to = quantity.Some(T(n.Float64))
	}
	return nil
}

const caseColumns = `id, study_uid, device_key, patient_id, room, state, start_at, local_date, start_offset, offset_source, class, description, quality, version,
	flag_state, kerma_gy, kap_gym2, fluoro_s, psd_gy, psd_low_gy, psd_high_gy, psd_method, effective_sv, effective_low_sv, effective_high_sv,
	effective_method, complete_doses, updated_at, gaps, kerma_factor, kap_factor, field_m2, has_map, accession, basis,
	(SELECT group_concat(account_id, ' ') FROM (SELECT pa.account_id FROM report r JOIN report_person rp ON rp.report_id = r.id
			JOIN person_account pa ON pa.person_id = rp.person_id AND pa.ended_at = ''
			WHERE r.study_uid = procedure_case.study_uid AND r.device_key = procedure_case.device_key AND r.patient_id = procedure_case.patient_id
			AND rp.role NOT IN ` + uninvolved + `
		UNION SELECT pa.account_id FROM performed_step s JOIN performed_person pp ON pp.step_id = s.id
			JOIN person_account pa ON pa.person_id = pp.person_id AND pa.ended_at = ''
			WHERE s.study_uid <> '' AND s.study_uid = procedure_case.study_uid AND pp.role NOT IN ` + uninvolved + `) AS own)`

func scanCase(row interface{ Scan(...any) error }) (Case, error) {
	var p Case
	var start, updated dbTime
	var offset int
	var operators sql.NullString
	err := row.Scan(&p.ID, &p.StudyUID, &p.DeviceKey, &p.PatientID, &p.Room, &p.State, &start, &p.LocalDate, &offset, &p.OffsetSource, &p.Class,
		&p.Description, &p.Quality, &p.Version, &p.FlagState, opt[quantity.Gray]{&p.Kerma}, opt[quantity.GraySquareMetre]{&p.KAP},
		opt[quantity.Second]{&p.FluoroTime}, opt[quantity.Gray]{&p.PSD}, opt[quantity.Gray]{&p.PSDLow}, opt[quantity.Gray]{&p.PSDHigh}, &p.PSDMethod,
		opt[quantity.Sievert]{&p.Effective}, opt[quantity.Sievert]{&p.EffectiveLow}, opt[quantity.Sievert]{&p.EffectiveHigh}, &p.EffectiveMethod,
		&p.Complete, &updated, &p.Gaps, opt[float64]{&p.KermaFactor}, opt[float64]{&p.KAPFactor},
		opt[quantity.SquareMetre]{&p.FieldAtSkin}, &p.HasMap, &p.Accession, &p.Basis, &operators)
	if err != nil {
		return p, kind(err)
	}
	p.Start = start.In(time.FixedZone("", offset))
	p.UpdatedAt, p.Operators = updated.Time, sortedAccounts(operators)
	return p, nil
}

// Case gives a procedure by its id.
func (db *DB) Case(ctx context.Context, id string) (Case, error) { return caseOf(ctx, db.read, id) }

func caseOf(ctx context.Context, q querier, id string) (Case, error) {
	return scanCase(q.QueryRowContext(ctx, `SELECT `+caseColumns+` FROM procedure_case WHERE id = $1`, id))
}

// placeholder adds an argument and gives its mark.
func placeholder(args *[]any, value any) string {
	*args = append(*args, value)
	return fmt.Sprintf("$%d", len(*args))
}

// Versions lists what was ever estimated of a case, newest first, without bodies and maps.
func (db *DB) Versions(ctx context.Context, id string) ([]Version, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Version, error) {
		var v Version
		var t dbTime
		var summary string
		err := r.Scan(&v.Number, &t, &v.Program, &v.Methods, &v.Digest, &v.Change, &summary)
		v.MadeAt, v.Summary = t.Time, []byte(summary)
		return v, err
	}, `SELECT version, made_at, program, methods, digest, change, summary FROM procedure_version WHERE procedure_id = $1 ORDER BY version DESC`, id)
}

// Version gives one version whole; number 0 is the newest. Its Case is that of the newest version.
func (db *DB) Version(ctx context.Context, id string, number int) (v Version, err error) {
	err = db.snapshot(ctx, func(q querier) error {
		v, err = version(ctx, q, id, number)
		return err
	})
	return v, err
}

func version(ctx context.Context, q querier, id string, number int) (Version, error) {
	var v Version
	var t dbTime
	var summary string
	err := q.QueryRowContext(ctx, `SELECT version, made_at, program, methods, digest, change, summary, body, map FROM procedure_version
		WHERE procedure_id = $1 AND version = CASE WHEN $2 = 0 THEN (SELECT version FROM procedure_case WHERE id = $1) ELSE $2 END`, id, number).
		Scan(&v.Number, &t, &v.Program, &v.Methods, &v.Digest, &v.Change, &summary, &v.Body, &v.Map)
	if err != nil {
		return v, kind(err)
	}
	v.MadeAt, v.Summary = t.Time, []byte(summary)
	if v.Case, err = caseOf(ctx, q, id); err != nil {
		return v, err
	}
	v.Flags, err = flagsOf(ctx, q, id, v.Number)
	return v, err
}

func flagsOf(ctx context.Context, q querier, id string, version int) ([]Flag, error) {
	return rows(ctx, q, func(r *sql.Rows) (Flag, error) {
		var f Flag
		err := r.Scan(&f.Scope, &f.Scheme, &f.LevelID, &f.Quantity, &f.State, opt[float64]{&f.Value}, opt[float64]{&f.Level}, &f.Basis, &f.Text, &f.Source)
		return f, err
	}, `SELECT scope, scheme, level_id, quantity, state, value, level, basis, text, source FROM flag WHERE procedure_id = $1 AND version = $2 ORDER BY place`,
		id, version)
}
