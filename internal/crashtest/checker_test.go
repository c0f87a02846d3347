package crashtest_test

import (
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// verdict lists what the checker holds against the store. All of it must be empty.
type verdict struct{ lost, ghost, duplicate, torn, wrong []string }

func (v verdict) err() error {
	var found []string
	for _, part := range []struct {
		name string
		list []string
	}{{"lost", v.lost}, {"ghost", v.ghost}, {"duplicate", v.duplicate}, {"torn", v.torn}, {"wrong", v.wrong}} {
		for i, one := range part.list {
			if i == 10 {
				found = append(found, fmt.Sprintf("%s: and %d more", part.name, len(part.list)-i))
				break
			}
			found = append(found, part.name+": "+one)
		}
	}
	if len(found) == 0 {
		return nil
	}
	return errors.New(strings.Join(found, "\n"))
}

// checker looks at a store from outside.
type checker struct {
	site  *site
	whole map[string]bool // digests whose objects were found whole; objects never change
}

func newChecker(s *site) *checker { return &checker{s, map[string]bool{}} }

func (s *site) database() string { return filepath.Join(s.store(), "afterbeam.db") }

// query asks the database by the sqlite3 program.
func (s *site) query(rows any, sql string) error {
	cmd := exec.Command("sqlite3", "-readonly", "-json", "-cmd", ".timeout 5000", s.database(), sql)
	var fault strings.Builder
	cmd.Stderr = &fault
	text, err := cmd.Output()
	if err != nil {
		return fmt.Errorf("sqlite3: %w: %s", err, fault.String())
	}
	if len(text) == 0 {
		text = []byte("[]")
	}
	return json.Unmarshal(text, rows)
}

// object gives the bytes that the store keeps under a digest.
func (s *site) object(digest string) (_ []byte, err error) {
	file, err := os.Open(filepath.Join(s.store(), "objects", digest[:2], digest+".gz"))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	z, err := gzip.NewReader(file)
	if err != nil {
		return nil, err
	}
	return io.ReadAll(z)
}

// intact tells what is wrong with a kept object, "" for nothing.
func (c *checker) intact(digest string) string {
	if c.whole[digest] {
		return ""
	}
	raw, err := c.site.object(digest)
	if err != nil {
		return err.Error()
	}
	if sum := sha256.Sum256(raw); hex.EncodeToString(sum[:]) != digest {
		return "its bytes have another digest"
	}
	c.whole[digest] = true
	return ""
}

type receiptRow struct{ ID, Digest, State, Reason string }

// kept compares the ledger with receipts and objects. It may be asked while the service runs: the ledger is read first.
func (c *checker) kept() (v verdict, err error) {
	accounts, err := readLedger(filepath.Join(c.site.dir, "ledger"))
	if err != nil {
		return v, err
	}
	var receipts []receiptRow
	if err := c.site.query(&receipts, `SELECT id, digest, state, reason FROM receipt`); err != nil {
		return v, err
	}
	later, err := readLedger(filepath.Join(c.site.dir, "ledger")) // for what was sent meanwhile
	if err != nil {
		return v, err
	}
	byDigest := map[string][]receiptRow{}
	for _, r := range receipts {
		byDigest[r.Digest] = append(byDigest[r.Digest], r)
		if a := later[r.Digest]; a == nil || !a.sent || a.kind == junk {
			v.ghost = append(v.ghost, "receipt "+r.ID+" of what was never sent or never acknowledged")
		}
		if fault := c.intact(r.Digest); fault != "" {
			v.torn = append(v.torn, r.Digest+": "+fault)
		}
	}
	for digest, a := range accounts {
		found := byDigest[digest]
		if a.kept && len(found) == 0 {
			v.lost = append(v.lost, fmt.Sprintf("%s object %s was acknowledged and has no receipt", a.kind, digest))
		}
		if len(found) > 1 || len(a.receipts) > 1 {
			v.duplicate = append(v.duplicate, fmt.Sprintf("object %s has %d receipts and %d were named in answers", digest, len(found), len(a.receipts)))
		}
		for id := range a.receipts {
			if len(found) == 1 && found[0].ID != id {
				v.lost = append(v.lost, "receipt "+id+" was named in an answer and is not there")
			}
		}
	}
	return v, nil
}

type caseRow struct {
	Study, Device, Patient, Number string
	Kerma, KAP, Seconds            *float64
	Events                         int
}

// read compares the store with the truth when everything was read and assessed.
func (c *checker) read(w *world) (v verdict, err error) {
	var cases []caseRow
	if err := c.site.query(&cases, `SELECT p.study_uid AS Study, p.device_key AS Device, p.patient_id AS Patient, i.number AS Number,
		p.kerma_gy AS Kerma, p.kap_gym2 AS KAP, p.fluoro_s AS Seconds,
		(SELECT COUNT(*) FROM event_place e WHERE e.procedure_id = p.id) AS Events
		FROM procedure_case p JOIN patient_identity i ON i.patient_id = p.patient_id`); err != nil {
		return v, err
	}
	seen, patients := map[string]int{}, map[string]string{}
	for _, row := range cases {
		seen[row.Study]++
		want, known := w.truth[row.Study]
		if !known || want.Device != row.Device || want.Patient != row.Number {
			v.ghost = append(v.ghost, "procedure of study "+row.Study)
			continue
		}
		if other, known := patients[row.Number]; known && other != row.Patient {
			v.duplicate = append(v.duplicate, "patient "+row.Number)
		}
		patients[row.Number] = row.Patient
		if !near(row.Kerma, want.Kerma) || !near(row.KAP, want.KAP) || !near(row.Seconds, want.Seconds) || row.Events != want.Events {
			v.wrong = append(v.wrong, fmt.Sprintf("study %s: wanted %v, got kerma %v, KAP %v, %v s, %d events",
				row.Study, want, shown(row.Kerma), shown(row.KAP), shown(row.Seconds), row.Events))
		}
	}
	for study := range w.truth {
		switch seen[study] {
		case 0:
			v.lost = append(v.lost, "procedure of study "+study)
		case 1:
		default:
			v.duplicate = append(v.duplicate, "procedure of study "+study)
		}
	}
	return v, errors.Join(c.counts(&v), c.strays(&v, w))
}

// counts asks for rows of which there must be none.
func (c *checker) counts(v *verdict) error {
	for _, never := range []struct {
		list      *[]string
		name, sql string
	}{
		{&v.duplicate, "two reports of one receipt", `SELECT COUNT(*) AS n FROM (SELECT 1 FROM report GROUP BY receipt_id HAVING COUNT(*) > 1)`},
		{&v.wrong, "jobs that failed", `SELECT COUNT(*) AS n FROM job WHERE state = 'failed'`},
		{&v.wrong, "receipts not read", `SELECT COUNT(*) AS n FROM receipt WHERE state = 'kept'`},
		{&v.wrong, "read receipts without report", `SELECT COUNT(*) AS n FROM receipt r WHERE state = 'read' AND NOT EXISTS (SELECT 1 FROM report WHERE receipt_id = r.id)`},
		{&v.wrong, "reports without read receipt", `SELECT COUNT(*) AS n FROM report WHERE receipt_id NOT IN (SELECT id FROM receipt WHERE state = 'read')`},
		{&v.wrong, "newest versions that are missing", `SELECT COUNT(*) AS n FROM procedure_case p WHERE NOT EXISTS (SELECT 1 FROM procedure_version v WHERE v.procedure_id = p.id AND v.version = p.version)`},
		{&v.wrong, "gaps in the versions of a procedure", `SELECT COUNT(*) AS n FROM procedure_case p WHERE version <> (SELECT COUNT(*) FROM procedure_version v WHERE v.procedure_id = p.id)`},
		{&v.wrong, "gaps in the audit chain", `SELECT COALESCE(MAX(sequence), 0) - COUNT(*) AS n FROM audit`},
		{&v.duplicate, "audit records of one kept object", `SELECT COUNT(*) AS n FROM (SELECT 1 FROM audit WHERE action = 'report.keep' GROUP BY object HAVING COUNT(*) > 1)`},
		{&v.lost, "receipts without audit record", `SELECT COUNT(*) AS n FROM receipt WHERE id NOT IN (SELECT object FROM audit WHERE action = 'report.keep')`},
	} {
		var rows []struct{ N int }
		if err := c.site.query(&rows, never.sql); err != nil {
			return err
		}
		if len(rows) != 1 || rows[0].N != 0 {
			*never.list = append(*never.list, fmt.Sprintf("%s: %v", never.name, rows))
		}
	}
	return nil
}

// strays looks for files that belong to nothing: after everything was sent again until acknowledged there are none.
func (c *checker) strays(v *verdict, w *world) error {
	sent := map[string]bool{}
	for _, p := range w.parcels {
		sent[p.digest] = p.kind != junk
	}
	for _, folder := range []string{"objects", "arrivals"} {
		err := filepath.WalkDir(filepath.Join(c.site.store(), folder), func(name string, entry fs.DirEntry, err error) error {
			if err == nil && !entry.IsDir() && (folder == "arrivals" || !sent[strings.TrimSuffix(entry.Name(), ".gz")]) {
				v.ghost = append(v.ghost, "file "+name)
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// near compares with the truth. Decimal strings of a report hold 16 characters, so that each of its few dozen numbers is
// off by less than 1e-9 of itself.
func near(got *float64, want float64) bool {
	return got != nil && math.Abs(*got-want) <= 1e-7*math.Abs(want)
}

func shown(v *float64) string {
	if v == nil {
		return "none"
	}
	return fmt.Sprint(*v)
}

// state is the outcome of everything sent, without ids and times: two ways to the same reports must end in one.
func (s *site) state() (string, error) {
	cmd := exec.Command("sqlite3", "-readonly", "-cmd", ".timeout 5000", s.database(), `
		SELECT 'case', p.study_uid, p.device_key, i.number, p.room, p.state, p.start_at, p.class, p.flag_state, p.kerma_gy, p.kap_gym2, p.fluoro_s,
			p.psd_gy, p.psd_low_gy, p.psd_high_gy, p.effective_sv, p.gaps, v.digest
			FROM procedure_case p JOIN procedure_version v ON v.procedure_id = p.id AND v.version = p.version
			JOIN patient_identity i ON i.patient_id = p.patient_id ORDER BY p.study_uid, p.device_key, i.number;
		SELECT 'flag', p.study_uid, f.place, f.scope, f.level_id, f.state, f.value, f.level, f.text
			FROM flag f JOIN procedure_case p ON p.id = f.procedure_id AND p.version = f.version ORDER BY p.study_uid, p.device_key, f.place;
		SELECT 'receipt', digest, size, sop_class, sop_instance, study_uid, state, reason FROM receipt ORDER BY digest;
		SELECT 'report', r.digest, b.dataset_digest, b.content_digest, b.device_key FROM report b JOIN receipt r ON r.id = b.receipt_id ORDER BY r.digest;
		SELECT 'patient', number, issuer, name, birth_date, sex FROM patient_identity ORDER BY number, issuer;
		SELECT 'review', kind, COUNT(*) FROM review GROUP BY kind;`)
	text, err := cmd.CombinedOutput()
	return string(text), err
}
