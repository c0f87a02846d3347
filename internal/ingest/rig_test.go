package ingest_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// rig is a service without interfaces: store, keeper and pipeline.
type rig struct {
	dir      string
	clock    *witness.Clock
	log      *witness.Log
	db       *store.DB
	keeper   *ingest.Keeper
	pipeline *ingest.Pipeline
}

const quiet = 2 * time.Hour

// summary stands for the form of the interface: enough that any change of the result changes it.
func summary(a assessment.Assessment) ([]byte, error) {
	return json.Marshal(map[string]any{
		"psd": a.SkinDose.Value, "low": a.SkinDose.Low, "high": a.SkinDose.High, "method": a.SkinDose.Method, "effective": a.Effective.Value,
		"dose": a.Dose, "class": a.Class.ID, "state": a.Procedure.State.String(), "findings": a.Procedure.Findings,
	})
}

func newRig(t testing.TB) *rig {
	t.Helper()
	r := &rig{dir: t.TempDir(), clock: witness.At(time.Date(2026, 11, 20, 8, 0, 0, 0, time.UTC)), log: &witness.Log{}}
	r.start(t)
	t.Cleanup(func() { assert.NoError(t, r.db.Close()) })
	return r
}

// start opens the store as a new process would.
func (r *rig) start(t testing.TB) {
	t.Helper()
	db, err := store.Open(t.Context(), store.Config{Dir: r.dir, Program: "test", Now: r.clock.Now})
	require.NoError(t, err)
	method := assessment.Default()
	method.MaxPatch = 100 // coarse maps: these tests are about the way, not about the numbers
	r.db = db
	r.pipeline = &ingest.Pipeline{
		Store: db, Method: method, Reading: rdsr.Options{Site: time.UTC}, Summarise: summary, Quiet: quiet, Workers: 2,
		Fatal: func(err error) { t.Error(err) }, Log: slog.New(slog.NewTextHandler(r.log, nil)), Now: r.clock.Now,
	}
	r.keeper = &ingest.Keeper{Vault: db, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { t.Error(err) }, Kept: r.pipeline.Wake}
}

func (r *rig) restart(t testing.TB) {
	t.Helper()
	require.NoError(t, r.db.Close())
	r.start(t)
}

func (r *rig) keep(t testing.TB, content []byte) (store.Receipt, ingest.Answer) {
	t.Helper()
	receipt, answer, err := r.keeper.Keep(context.Background(), store.System("test"), "test", bytes.NewReader(content))
	require.NoError(t, err)
	return receipt, answer
}

func (r *rig) send(t testing.TB, reports ...procedure.Report) {
	t.Helper()
	for _, report := range reports {
		r.keep(t, written(t, report))
	}
}

// work does every job that is due.
func (r *rig) work(t testing.TB) {
	t.Helper()
	for {
		worked, err := r.pipeline.Step(t.Context(), "test")
		require.NoError(t, err)
		if !worked {
			return
		}
	}
}

// settle does every job, also those that wait for the quiet time.
func (r *rig) settle(t testing.TB) {
	t.Helper()
	r.work(t)
	r.clock.Pass(quiet)
	r.work(t)
}

func (r *rig) cases(t testing.TB) []store.Case {
	t.Helper()
	cases, err := r.db.Cases(t.Context(), store.Filter{Limit: 1000})
	require.NoError(t, err)
	return cases
}

// the gives the only case of a study.
func (r *rig) the(t testing.TB, study string) store.Version {
	t.Helper()
	var found []store.Version
	for _, c := range r.cases(t) {
		if c.StudyUID == study {
			v, err := r.db.Version(t.Context(), c.ID, 0)
			require.NoError(t, err)
			found = append(found, v)
		}
	}
	require.Len(t, found, 1)
	return found[0]
}

// hash names the state of the whole store by what it says, not by the ids in it.
func (r *rig) hash(t testing.TB) string {
	t.Helper()
	states, err := r.db.States(t.Context())
	require.NoError(t, err)
	sum := sha256.New()
	for _, s := range states {
		_, _ = fmt.Fprintf(sum, "%+v\n", s)
	}
	for _, s := range r.skin(t) {
		_, _ = fmt.Fprintf(sum, "%s\n", s)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// skin gives what the procedures of each patient left on one body in all, as it is kept, in an order of its own.
func (r *rig) skin(t testing.TB) []string {
	t.Helper()
	var all []string
	for _, c := range r.cases(t) {
		group, err := r.db.CasesOfPatient(t.Context(), c.PatientID)
		require.NoError(t, err)
		var digests []string
		for _, one := range group {
			if !one.Quality {
				digests = append(digests, one.Digest)
			}
		}
		key := ingest.SkinKey(digests)
		kept, err := r.db.SkinSums(t.Context(), []string{key})
		require.NoError(t, err)
		if c.Quality {
			continue
		}
		all = append(all, key+" "+string(kept[key]))
	}
	slices.Sort(all)
	return all
}

func written(t testing.TB, r procedure.Report) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, rdsr.Write(&b, &r, rdsr.WriteOptions{}))
	return b.Bytes()
}

// scene gives one case of the demonstration by its file name, cut to so many events, with totals that fit them.
func scene(t testing.TB, file string, events int) procedure.Report {
	t.Helper()
	for _, c := range demo.Cases() {
		if c.File == file+".dcm" {
			return cut(c.Report, 0, events, "")
		}
	}
	t.Fatalf("no case %s", file)
	return procedure.Report{}
}

const (
	stageOne = "hybrid1-branched-repair-stage1"
	stageTwo = "hybrid1-branched-repair-stage2"
	ablation = "rhythm3-ablation"
)

// cut gives a report of the events from..to with their own totals, under another SOP instance UID when one is named.
func cut(r procedure.Report, from, to int, instance string) procedure.Report {
	r.Events = append([]procedure.Event(nil), r.Events[from:min(to, len(r.Events))]...)
	if instance != "" {
		r.SOPInstanceUID = instance
	}
	var planes []procedure.PlaneTotal
	for _, p := range r.Planes {
		total := procedure.PlaneTotal{Plane: p.Plane, SourceToReference: p.SourceToReference, RefPoint: p.RefPoint}
		var kerma quantity.Gray
		var kap quantity.GraySquareMetre
		n := 0
		for _, e := range r.Events {
			if e.Plane == p.Plane {
				kerma, kap, n = kerma+e.RefKerma.Or(0), kap+e.KAP.Or(0), n+1
			}
		}
		if n > 0 {
			total.RefKerma, total.KAP, total.FluoroTime = quantity.Some(kerma), quantity.Some(kap), p.FluoroTime
			planes = append(planes, total)
		}
	}
	r.Planes = planes
	return r
}

// renamed gives a report of another patient and study.
func renamed(r procedure.Report, n int) procedure.Report {
	r.StudyUID, r.SOPInstanceUID = fmt.Sprintf("2.25.7100.%d", n), fmt.Sprintf("2.25.7200.%d", n)
	r.Patient.ID = fmt.Sprintf("P-%d", n)
	r.Events = append([]procedure.Event(nil), r.Events...)
	for i := range r.Events {
		r.Events[i].UID = fmt.Sprintf("2.25.7300.%d.%d", n, i)
	}
	return r
}

// expanded gives the text of an archived form, whose compressed part begins after two bytes.
func expanded(t testing.TB, frame []byte) string {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(frame[2:]))
	require.NoError(t, err)
	text, err := io.ReadAll(z)
	require.NoError(t, err)
	return string(text)
}
