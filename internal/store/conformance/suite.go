package conformance

import (
	"bytes"
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/audit"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// Open opens a store of the given settings for a test. The test closes it.
type Open func(t *testing.T, cfg store.Config) *store.DB

// Run runs the whole suite against the database that open opens.
func Run(t *testing.T, open func(t *testing.T, cfg store.Config) *store.DB) {
	t.Helper()
	groups := []struct {
		name  string
		tests []test
	}{
		{"receipts", receiptTests()},
		{"jobs", jobTests()},
		{"identity", identityTests()},
		{"links", linkTests()},
		{"cases", caseTests()},
		{"cases that are lacking", unassessedTests()},
		{"what is kept for a time", retentionTests()},
		{"asks", askTests()},
		{"levels", levelTests()},
		{"acceptances", acceptanceTests()},
		{"lexicon", lexiconTests()},
		{"lists", listTests()},
		{"facts", factTests()},
		{"performed procedures and persons", performedTests()},
		{"instances", instanceTests()},
		{"devices", deviceTests()},
		{"recomputations", recomputationTests()},
		{"commitments", commitmentTests()},
		{"papers", paperTests()},
		{"summaries", summaryTests()},
		{"releases", releaseTests()},
		{"objects of archives", archivedTests()},
		{"accounts", accountTests()},
		{"signing in", signInTests()},
		{"audit", auditTests()},
		{"backup", backupTests()},
		{"several at once", concurrencyTests()},
	}
	for _, g := range groups {
		t.Run(g.name, func(t *testing.T) {
			for _, one := range g.tests {
				t.Run(one.name, func(t *testing.T) { one.run(t, newSite(t, open)) })
			}
		})
	}
}

type test struct {
	name string
	run  func(t *testing.T, s *site)
}

// site is a store in a test, with a clock that only the test moves.
type site struct {
	db    *store.DB
	dir   string
	clock *clock
	open  Open
	count int
}

func newSite(t *testing.T, open Open) *site {
	t.Helper()
	s := &site{dir: t.TempDir(), clock: newClock(), open: open}
	s.db = open(t, s.config())
	t.Cleanup(func() { _ = s.db.Close() }) // closing again is harmless, and tests close on purpose
	return s
}

func (s *site) config() store.Config {
	return store.Config{Dir: s.dir, Program: "conformance", Now: s.clock.Now}
}

// reopen closes the store and opens it again.
func (s *site) reopen(t *testing.T) {
	t.Helper()
	require.NoError(t, s.db.Close())
	s.db = s.open(t, s.config())
}

// clock moves by one microsecond with each look, so that what comes later has a later time.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func newClock() *clock { return &clock{now: time.Date(2026, 9, 14, 7, 30, 0, 123456000, time.UTC)} }

// Now gives the time.
func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(time.Microsecond)
	return c.now
}

func (c *clock) forward(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

var door = store.Actor{Account: "folder", Role: "service", Source: "incoming"}

var person = store.Actor{Account: "account of a physicist", Role: "physicist", Session: "token", Source: "192.0.2.7"}

// ctx is what the tests work under when they do not cancel anything.
func ctx() context.Context { return context.Background() }

// next gives a number that the site has not used yet.
func (s *site) next() int {
	s.count++
	return s.count
}

// keep makes bytes durable and accepts them, in the order of a door.
func (s *site) keep(t *testing.T, body string, quarantine string) store.Receipt {
	t.Helper()
	return s.keepAs(t, body, quarantine, store.Live)
}

func (s *site) keepAs(t *testing.T, body string, quarantine string, p store.Priority) store.Receipt {
	t.Helper()
	a, err := s.db.Receive(ctx(), bytes.NewReader([]byte(body)))
	require.NoError(t, err)
	require.NoError(t, a.Keep())
	r, _, err := s.db.Accept(ctx(), door, store.Arrival{
		Digest: a.Digest, Size: int64(len(a.Bytes)), Door: door.Account, Source: door.Source,
		SOPClass: "1.2.840.10008.5.1.4.1.1.88.67", SOPInstance: "2.25." + body, StudyUID: "2.25.1", Quarantine: quarantine, Priority: p,
	})
	require.NoError(t, err)
	return r
}

// lease works off every due job until the wanted one comes.
func (s *site) lease(t *testing.T, kind store.JobKind, subject string) store.Job {
	t.Helper()
	for {
		j, err := s.db.Lease(ctx(), "worker", time.Minute)
		require.NoError(t, err, "no %s job of %s", kind, subject)
		if j.Kind == kind && j.Subject == subject {
			return j
		}
		require.NoError(t, s.db.Finish(ctx(), j))
	}
}

// drain works off every due job and gives them in order.
func (s *site) drain(t *testing.T) []store.Job {
	t.Helper()
	var all []store.Job
	for {
		j, err := s.db.Lease(ctx(), "worker", time.Minute)
		if err != nil {
			require.ErrorIs(t, err, store.ErrNotFound)
			return all
		}
		require.NoError(t, s.db.Finish(ctx(), j))
		all = append(all, j)
	}
}

// read keeps a new report of a study and reads it; it gives the report as stored.
func (s *site) read(t *testing.T, study string, who store.Identity) store.Report {
	t.Helper()
	n := s.next()
	return s.readAs(t, store.Report{
		SOPInstance: fmt.Sprintf("2.25.%d", n), DataSetDigest: fmt.Sprintf("set %d", n), ContentDigest: fmt.Sprintf("content %d", n),
		StudyUID: study, DeviceKey: "Hybrid 1", ContentAt: s.clock.Now(), Body: []byte(fmt.Sprintf("body %d", n)),
	}, who)
}

func (s *site) readAs(t *testing.T, r store.Report, who store.Identity) store.Report {
	t.Helper()
	receipt := s.keep(t, fmt.Sprintf("bytes %d", s.next()), "")
	j := s.lease(t, store.JobRead, receipt.ID)
	r.ReceiptID = receipt.ID
	require.NoError(t, s.db.SaveReport(ctx(), j, r, who))
	all, err := s.db.ReportsOfStudy(ctx(), r.StudyUID)
	require.NoError(t, err)
	for _, one := range all {
		if one.ReceiptID == receipt.ID {
			return one
		}
	}
	require.Fail(t, "the report is not in its study")
	return r
}

// patient makes a patient of its own by a report in a study of its own.
func (s *site) patient(t *testing.T) (id, study string) {
	t.Helper()
	n := s.next()
	study = fmt.Sprintf("2.25.9.%d", n)
	return s.read(t, study, store.Identity{Number: fmt.Sprintf("N%d", n), Issuer: "Saltmarsh", Name: "Demo^Person", BirthDate: "1950-01-02", Sex: "F"}).PatientID, study
}

// caseOf is a case with every column filled.
func caseOf(patient, study string) store.Case {
	return store.Case{
		StudyUID: study, DeviceKey: "Hybrid 1", PatientID: patient, Room: "Hybrid 1", State: "complete",
		Start: time.Date(2026, 9, 14, 9, 30, 0, 987654000, time.FixedZone("", 2*3600)), LocalDate: "2026-09-14", OffsetSource: 2,
		Class: "complex aortic repair", Description: "Branched repair, stage 1", FlagState: "reached",
		Kerma: quantity.Some[quantity.Gray](5.25), KAP: quantity.Some[quantity.GraySquareMetre](0.0625), FluoroTime: quantity.Some[quantity.Second](5400), Complete: true,
		PSD: quantity.Some[quantity.Gray](4.5), PSDLow: quantity.Some[quantity.Gray](3.5), PSDHigh: quantity.Some[quantity.Gray](6), PSDMethod: "map",
		Effective: quantity.Some[quantity.Sievert](0.125), EffectiveLow: quantity.Some[quantity.Sievert](0.0625), EffectiveHigh: quantity.Some[quantity.Sievert](0.25),
		EffectiveMethod: "events", Accession: "A-17",
	}
}

// versionOf is a version of a case with flags and events.
func versionOf(c store.Case, digest string) store.Version {
	return store.Version{
		Case: c, Methods: "physics 1", Digest: digest, Change: "first estimate", Summary: []byte(`{"psd":4.5}`), Body: []byte("body " + digest), Map: []byte("map " + digest),
		Flags: []store.Flag{
			{Scope: "case", Scheme: "site", LevelID: "psd-15", Quantity: "peak skin dose", State: "below", Value: quantity.Some(4.5), Level: quantity.Some(15.0), Basis: "map", Text: "Invented for a test.", Source: "test"},
			{Scope: "60 days", Scheme: "site", LevelID: "kar-5", Quantity: "air kerma", State: "reached", Value: quantity.Some(5.25), Level: quantity.Some(5.0), Basis: "displayed", Text: "Invented for a test.", Source: "test"},
			{Scope: "case", Scheme: "site", LevelID: "time", Quantity: "fluoroscopy time", State: "unknown", Basis: "no time", Text: "Invented for a test.", Source: "test"},
		},
		Events: []store.EventPlace{{UID: "2.25.11", Plane: 0}, {UID: "2.25.11", Plane: 1}},
	}
}

// assess asks for the assessment of a study by a fact or report before, and saves the versions; it gives their ids.
func (s *site) assess(t *testing.T, versions ...store.Version) []string {
	t.Helper()
	study := versions[0].Case.StudyUID
	j := s.lease(t, store.JobAssess, study)
	ids, err := s.db.SaveAssessment(ctx(), j, versions)
	require.NoError(t, err)
	return ids
}

// assessed makes a patient with one assessed case.
func (s *site) assessed(t *testing.T, shape func(c *store.Case)) (id string, c store.Case) {
	t.Helper()
	patient, study := s.patient(t)
	c = caseOf(patient, study)
	if shape != nil {
		shape(&c)
	}
	return s.assess(t, versionOf(c, "digest of "+study))[0], c
}

// records reads the whole audit chain.
func (s *site) records(t *testing.T) []audit.Record {
	t.Helper()
	var all []audit.Record
	for r, err := range s.db.AuditRecords(ctx()) {
		require.NoError(t, err)
		all = append(all, r)
	}
	return all
}

// last gives the newest audit record.
func (s *site) last(t *testing.T) audit.Record {
	t.Helper()
	all := s.records(t)
	require.NotEmpty(t, all)
	return all[len(all)-1]
}
