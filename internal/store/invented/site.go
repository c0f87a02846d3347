package invented

import (
	"context"
	"database/sql"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// Seed is that of the generator.
const Seed = 20260914

const (
	perPatient    = 4
	mostOfPatient = 40
	daysOpen      = 1826
)

// Fill writes procedures into the store without any in a folder, and gives the ids of their patients.
func Fill(ctx context.Context, dir string, procedures int) (patients []string, err error) {
	// Ids are random, so that rows go everywhere: a large page cache saves writing each page many times.
	name := url.URL{Scheme: "file", Path: filepath.Join(dir, "afterbeam.db"), RawQuery: "_pragma=cache_size(-500000)&_pragma=busy_timeout(5000)"}
	db, err := sql.Open("sqlite", name.String())
	if err != nil {
		return nil, fmt.Errorf("open database: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("begin: %w", err)
	}
	defer func() {
		if e := tx.Rollback(); e != nil && !errors.Is(e, sql.ErrTxDone) {
			err = errors.Join(err, e)
		}
	}()
	w, err := prepare(ctx, tx)
	if err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(Seed, 1)) //nolint:gosec // the same rows in every run are what is wanted
	for made := 0; made < procedures; {
		n := len(patients)
		id := newID(rng)
		survivor := id
		if n%50 == 49 {
			survivor = patients[n-1]
		}
		patients = append(patients, id)
		if err := w.patient(ctx, id, survivor); err != nil {
			return nil, err
		}
		count := 1
		for count < mostOfPatient && rng.Float64() < 1-1.0/perPatient {
			count++
		}
		if n >= procedures/perPatient {
			count = procedures
		}
		for range min(count, procedures-made) {
			if err := w.procedure(ctx, rng, made, id); err != nil {
				return nil, err
			}
			made++
		}
	}
	return patients, tx.Commit()
}

// writer writes rows with prepared statements.
type writer struct{ patients, identities, cases, versions, flags *sql.Stmt }

func prepare(ctx context.Context, tx *sql.Tx) (*writer, error) {
	w := &writer{}
	for _, s := range []struct {
		to    **sql.Stmt
		query string
	}{
		{&w.patients, `INSERT INTO patient (id, survivor, created_at) VALUES ($1, $2, '2021-01-01T00:00:00.000000Z')`},
		{&w.identities, `INSERT INTO patient_identity (patient_id, number, issuer, name, birth_date, sex) VALUES ($1, $1, 'Saltmarsh', 'Demo', '1950-01-01', 'F')`},
		{&w.cases, `INSERT INTO procedure_case (id, study_uid, device_key, patient_id, room, state, start_at, local_date, start_offset, offset_source,
			class, description, quality, version, flag_state, kerma_gy, kap_gym2, fluoro_s, psd_gy, psd_low_gy, psd_high_gy, psd_method,
			effective_sv, effective_low_sv, effective_high_sv, effective_method, complete_doses, updated_at, gaps, has_map)
			VALUES ($1, $2, $3, $4, $3, 'complete', $5, $6, 0, 1, $7, $18, 0, 1, $8, $9, $10, $11, $12, $13, $14, 'map', $15, $16, $17, 'events', 1, $5, 0, $19)`},
		{&w.versions, `INSERT INTO procedure_version (procedure_id, version, made_at, program, methods, digest, change, summary, body, map)
			VALUES ($1, 1, $2, 'bench', 'm', $3, 'first', '{}', $4, $5)`},
		{&w.flags, `INSERT INTO flag (procedure_id, version, place, scope, scheme, level_id, quantity, state, value, level, basis, text, source)
			VALUES ($1, 1, $2, 'case', 'bench', 'l', 'air kerma', $3, $4, 5.0, 'displayed', 'generated', 'generated')`},
	} {
		var err error
		if *s.to, err = tx.PrepareContext(ctx, s.query); err != nil { //nolint:sqlclosecheck // closed with the transaction
			return nil, fmt.Errorf("prepare: %w", err)
		}
	}
	return w, nil
}

func (w *writer) patient(ctx context.Context, id, survivor string) error {
	if _, err := w.patients.ExecContext(ctx, id, survivor); err != nil {
		return fmt.Errorf("insert patient: %w", err)
	}
	if _, err := w.identities.ExecContext(ctx, id); err != nil {
		return fmt.Errorf("insert patient identity: %w", err)
	}
	return nil
}

func (w *writer) procedure(ctx context.Context, rng *rand.Rand, n int, patient string) error {
	rooms := []string{"Hybrid 1", "Cath 2", "Rhythm 3", "Neuro 4"}
	classes := []string{"complex aortic repair", "coronary", "valve", "rhythm", "pump", "neuro"}
	id := newID(rng)
	start := time.Date(2021, 9, 14, 7, 0, 0, 0, time.UTC).AddDate(0, 0, rng.IntN(daysOpen)).Add(time.Duration(rng.IntN(12*3600)) * time.Second)
	stamp := start.Format("2006-01-02T15:04:05.000000Z")
	kerma := math.Exp(rng.NormFloat64() * math.Log(2.5))
	state := "below"
	switch {
	case rng.IntN(100) == 0:
		state = "unknown"
	case kerma >= 5:
		state = "reached"
	case kerma >= 4:
		state = "near"
	}
	if _, err := w.cases.ExecContext(ctx, id, fmt.Sprintf("2.25.%d", n), rooms[rng.IntN(len(rooms))], patient, stamp, stamp[:10], classes[rng.IntN(len(classes))],
		state, kerma, kerma*0.012, kerma*1000, kerma*0.9, kerma*0.7, kerma*1.2, kerma*0.03, kerma*0.02, kerma*0.05,
		fmt.Sprintf("Procedure %d", 1+rng.IntN(60)), n%4 > 0); err != nil {
		return fmt.Errorf("insert case: %w", err)
	}
	var picture []byte
	if n%4 > 0 {
		picture = make([]byte, 300)
	}
	if _, err := w.versions.ExecContext(ctx, id, stamp, id, make([]byte, 300), picture); err != nil {
		return fmt.Errorf("insert version: %w", err)
	}
	for place, s := range []string{state, "below", "below"} {
		if _, err := w.flags.ExecContext(ctx, id, place, s, kerma); err != nil {
			return fmt.Errorf("insert flag: %w", err)
		}
	}
	return nil
}

// newID makes an id of the form that the store gives: 24 characters of Base32.
func newID(rng *rand.Rand) string {
	var b [15]byte
	binary.BigEndian.PutUint64(b[:], rng.Uint64())
	binary.BigEndian.PutUint64(b[7:], rng.Uint64())
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}
