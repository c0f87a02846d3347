package mpps_test

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/mpps"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// pydicomSet has pydicom write the data set of a message, so that what is read was not written here. Lines are
// keyword=value; keyword/keyword=value writes into the first item of a sequence. Debian has no program that announces
// steps: command sets and associations are of package upper at both ends.
func pydicomSet(t testing.TB, syntax string, lines ...string) []byte {
	t.Helper()
	const program = `
import io, sys
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.filewriter import write_dataset
from pydicom.filebase import DicomBytesIO
d = Dataset()
for line in sys.stdin.read().splitlines():
    path, value = line.split("=", 1)
    *outer, keyword = path.split("/")
    at = d
    for name in outer:
        if name not in at:
            setattr(at, name, Sequence([Dataset()]))
        at = getattr(at, name)[0]
    setattr(at, keyword, int(value) if keyword == "TotalTimeOfFluoroscopy" else value)
fp = DicomBytesIO()
fp.is_little_endian = sys.argv[1] != "1.2.840.10008.1.2.2"
fp.is_implicit_VR = sys.argv[1] == "1.2.840.10008.1.2"
write_dataset(fp, d)
sys.stdout.buffer.write(fp.getvalue())
`
	command := exec.CommandContext(t.Context(), peer.Need(t, "/usr/bin/python3"), "-c", program, syntax)
	command.Stdin = strings.NewReader(strings.Join(lines, "\n"))
	var out, complaint bytes.Buffer
	command.Stdout, command.Stderr = &out, &complaint
	if err := command.Run(); err != nil {
		t.Fatalf("pydicom: %v: %s", err, complaint.String())
	}
	return out.Bytes()
}

type rig struct {
	db   *store.DB
	log  *witness.Log
	a    *upper.Association
	kept int
}

func newRig(t *testing.T, syntax string) *rig {
	t.Helper()
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir(), Program: "test"})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	r := &rig{db: db, log: &witness.Log{}}
	site, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	door, err := dimse.New(dimse.Config{
		Title: "AFTERBEAM", Limits: upper.DefaultLimits(), Associations: 4, PerPeer: 4, Log: slog.New(slog.NewTextHandler(r.log, nil)),
		Services: []dimse.Service{mpps.Service(mpps.Config{Steps: db, Site: site, Kept: func() { r.kept++ }})},
	})
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- door.Serve(ctx, l, nil) }()
	t.Cleanup(func() {
		stop()
		assert.ErrorIs(t, <-ended, context.Canceled)
	})
	r.a, err = upper.Requestor{Limits: upper.DefaultLimits(), Calling: "CATH2"}.Dial(context.Background(), l.Addr().String(), "AFTERBEAM", upper.Each(mpps.SOPClass, syntax))
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, r.a.Release()) })
	return r
}

// say sends an N-CREATE or N-SET and gives the status.
func (r *rig) say(t *testing.T, field upper.Field, instance string, data []byte) upper.Status {
	t.Helper()
	c := upper.Command{Field: field, MessageID: r.a.MessageID()}
	if field == upper.NCreate {
		c.AffectedClass, c.AffectedInstance = mpps.SOPClass, instance
	} else {
		c.RequestedClass, c.RequestedInstance = mpps.SOPClass, instance
	}
	require.NoError(t, r.a.Send(r.a.Contexts()[0].ID, c, bytes.NewReader(data)))
	m, err := r.a.Next(t.Context())
	require.NoError(t, err)
	require.Equal(t, c.MessageID, m.Command.RespondedTo)
	return m.Command.Status
}

func (r *rig) steps(t *testing.T) []store.Performed {
	t.Helper()
	all, err := r.db.PerformedSteps(t.Context(), store.PerformedFilter{})
	require.NoError(t, err)
	return all
}

func begun() []string {
	return []string{
		"PatientName=Demo^One", "PatientID=4711", "IssuerOfPatientID=SALTMARSH", "PatientBirthDate=19480229", "PatientSex=M",
		"PerformedStationAETitle=CATH2AE", "PerformedStationName=CATH2", "PerformedLocation=Cath 2", "PerformedProcedureStepStartDate=20260914",
		"PerformedProcedureStepStartTime=083012.5", "PerformedProcedureStepStatus=IN PROGRESS", "PerformedProcedureStepDescription=Coronary angiography", "Modality=XA",
		"ScheduledStepAttributesSequence/StudyInstanceUID=2.25.17", "ScheduledStepAttributesSequence/AccessionNumber=A-1",
		"ProcedureCodeSequence/CodeValue=33367005", "ProcedureCodeSequence/CodingSchemeDesignator=SCT", "ProcedureCodeSequence/CodeMeaning=Coronary angiography",
	}
}

func TestAStepFromBeginningToEnd(t *testing.T) {
	for name, syntax := range map[string]string{
		"implicit": upper.ImplicitLittle, "explicit": upper.ExplicitLittle, "big endian": upper.ExplicitBig,
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, syntax)
			data := pydicomSet(t, syntax, begun()...)
			require.Equal(t, upper.Success, r.say(t, upper.NCreate, "2.25.99", data))
			assert.Equal(t, 1, r.kept)
			assert.Equal(t, upper.StatusDuplicate, r.say(t, upper.NCreate, "2.25.99", data))
			all := r.steps(t)
			require.Len(t, all, 1)
			s := all[0].Step
			assert.Equal(t, performed.SourceMPPS, s.Source)
			assert.Equal(t, "2.25.99", s.Key)
			assert.Equal(t, "2.25.17", s.StudyUID)
			assert.Equal(t, "A-1", s.Accession)
			assert.Equal(t, performed.InProgress, s.State)
			assert.Equal(t, "2026-09-14T08:30:12+01:00", s.Start.Time.Format(time.RFC3339), "the site's zone, in summer")
			assert.Equal(t, "Cath 2", s.Room)
			assert.Equal(t, "CATH2", s.Station)
			assert.Equal(t, performed.Patient{Number: "4711", Issuer: "SALTMARSH", Name: "Demo^One", BirthDate: "1948-02-29", Sex: "M"}, s.Patient)
			assert.True(t, s.Totals.IsZero())
			assert.NotContains(t, r.log.String(), "4711")

			end := pydicomSet(t, syntax, "PerformedProcedureStepStatus=COMPLETED", "PerformedProcedureStepEndDate=20260914", "PerformedProcedureStepEndTime=0915",
				"PatientSize=1.80", "PatientWeight=95", "PerformedSeriesSequence/PerformingPhysicianName=Operator^One", "PerformedSeriesSequence/OperatorsName=Helper^Two",
				"ImageAndFluoroscopyAreaDoseProduct=452.5", "TotalTimeOfFluoroscopy=600", "EntranceDoseInmGy=812", "DistanceSourceToDetector=1200")
			require.Equal(t, upper.Success, r.say(t, upper.NSet, "2.25.99", end))
			s = r.steps(t)[0].Step
			assert.Equal(t, performed.Completed, s.State)
			assert.Equal(t, "4711", s.Patient.Number, "what the message leaves out stays")
			assert.InDelta(t, 45.25, s.Totals.KAP.Or(0).Gycm2(), 1e-9, "dGy cm2 are tenths of Gy cm2")
			assert.InDelta(t, 10, s.Totals.FluoroTime.Or(0).Minutes(), 1e-9)
			assert.InDelta(t, 0.812, float64(s.Totals.Entrance.Or(0)), 1e-9)
			assert.Equal(t, quantity.Some[quantity.Millimetre](1800), s.Height)
			assert.Equal(t, quantity.Some[quantity.Kilogram](95), s.Weight)
			require.Len(t, s.Operators, 2)
			assert.Equal(t, "Operator^One", s.Operators[0].Name)
			assert.Equal(t, "121094", s.Operators[0].RoleInProcedure.Value)

			assert.Equal(t, upper.StatusProcessing, r.say(t, upper.NSet, "2.25.99", end), "completed, so it may no longer be updated")
			versions, err := r.db.PerformedVersions(t.Context(), r.steps(t)[0].ID)
			require.NoError(t, err)
			assert.Len(t, versions, 2)
		})
	}
}

func TestRefusals(t *testing.T) {
	r := newRig(t, upper.ExplicitLittle)
	set := func(lines ...string) []byte { return pydicomSet(t, upper.ExplicitLittle, lines...) }
	without := func(keyword string) []byte {
		var lines []string
		for _, line := range begun() {
			if !strings.HasPrefix(line, keyword) {
				lines = append(lines, line)
			}
		}
		return set(lines...)
	}
	for name, tt := range map[string]struct {
		field    upper.Field
		instance string
		data     []byte
		want     upper.Status
	}{
		"no such step":          {upper.NSet, "2.25.404", set("PerformedProcedureStepStatus=COMPLETED"), upper.StatusNoSuchInstance},
		"no status":             {upper.NCreate, "2.25.1", without("PerformedProcedureStepStatus"), upper.StatusMissing},
		"no start":              {upper.NCreate, "2.25.1", without("PerformedProcedureStepStart"), upper.StatusMissing},
		"begun at the end":      {upper.NCreate, "2.25.1", append(without("PerformedProcedureStepStatus"), set("PerformedProcedureStepStatus=COMPLETED")...), 0x0106},
		"a status of its own":   {upper.NCreate, "2.25.1", set(strings.Split(strings.ReplaceAll(strings.Join(begun(), "\n"), "IN PROGRESS", "PAUSED"), "\n")...), 0x0106},
		"nothing to match":      {upper.NCreate, "2.25.1", set("PerformedProcedureStepStatus=IN PROGRESS", "PerformedProcedureStepStartDate=20260914"), upper.StatusMissing},
		"no data set but noise": {upper.NCreate, "2.25.1", []byte("noise, and more noise of no tag at all"), upper.StatusNotUnderstood},
		"cut short":             {upper.NCreate, "2.25.1", set(begun()...)[:100], upper.StatusNotUnderstood},
		"no UID":                {upper.NCreate, "Demo^One", set(begun()...), upper.StatusInvalidInstance},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tt.want, r.say(t, tt.field, tt.instance, tt.data))
		})
	}
	assert.Empty(t, r.steps(t))
	assert.Zero(t, r.kept)
	assert.NotContains(t, r.log.String(), "Demo^One")
}

func TestAStepThatBringsNoReport(t *testing.T) {
	r := newRig(t, upper.ExplicitLittle)
	lines := append(begun(), "Modality=US")
	require.Equal(t, upper.Success, r.say(t, upper.NCreate, "2.25.99", pydicomSet(t, upper.ExplicitLittle, lines...)))
	assert.Equal(t, performed.NotXRay, r.steps(t)[0].Step.Excluded)
}
