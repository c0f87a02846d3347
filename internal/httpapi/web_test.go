package httpapi_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

const doseClass = "1.2.840.10008.5.1.4.1.1.88.67" // X-Ray Radiation Dose SR (PS3.4 annex B.5)

// reportFile writes a small dose report of the planted patient.
func reportFile(study, series, instance string) []byte {
	f, err := dicomio.Read([]byte(doseReport(instance)), dicomio.DefaultLimits())
	if err != nil {
		panic(err)
	}
	var set dicomio.DataSet
	for _, e := range f.Data {
		switch e.Tag {
		case 0x0020000D:
			set = append(set, dicomio.Element{Tag: e.Tag, VR: "UI", Values: []string{study}},
				dicomio.Element{Tag: 0x0020000E, VR: "UI", Values: []string{series}})
		case 0x00080018:
			set = append(set, e, dicomio.Element{Tag: 0x00080020, VR: "DA", Values: []string{"20260914"}})
		default:
			set = append(set, e)
		}
	}
	var out bytes.Buffer
	if err := dicomio.Write(&out, set, dicomio.ExplicitLittleEndian); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// instance keeps a dose report that was read as one of a room, in a study of its own. "" is no room: not read yet.
func (r *rig) instance(room string) (store.Receipt, []byte) {
	r.t.Helper()
	r.cases++
	study, series, instance := fmt.Sprintf("2.25.7.%d", r.cases), fmt.Sprintf("2.25.8.%d", r.cases), fmt.Sprintf("2.25.9.%d", r.cases)
	return r.instanceOf(room, study, series, instance)
}

func (r *rig) instanceOf(room, study, series, instance string) (store.Receipt, []byte) {
	r.t.Helper()
	ctx := context.Background()
	r.clock.Pass(time.Second) // the order of arrival is told by the time
	raw := reportFile(study, series, instance)
	arrival, err := r.db.Receive(ctx, bytes.NewReader(raw))
	require.NoError(r.t, err)
	require.NoError(r.t, arrival.Keep())
	got, _, err := r.db.Accept(ctx, actor, store.Arrival{
		Digest: arrival.Digest, Size: int64(len(raw)), Door: "test", SOPClass: doseClass, SOPInstance: instance, StudyUID: study,
		SeriesUID: series, StudyDate: "20260914",
	})
	require.NoError(r.t, err)
	if room == "" {
		return got, raw
	}
	require.NoError(r.t, r.db.SaveReport(ctx, r.leased(store.JobRead), store.Report{
		ReceiptID: got.ID, SOPInstance: instance, DataSetDigest: "d" + instance, ContentDigest: "c" + instance, StudyUID: study, DeviceKey: room,
		ContentAt: r.clock.Now(), Body: []byte("{}"),
	}, identity()))
	reports, err := r.db.ReportsOfStudy(ctx, study)
	require.NoError(r.t, err)
	r.save(r.leased(store.JobAssess), store.Case{
		StudyUID: study, DeviceKey: room, PatientID: reports[0].PatientID, Room: room, State: "complete", Start: r.clock.Now(),
		LocalDate: "2026-09-14", FlagState: "none",
	}, "first of "+instance)
	return got, raw
}

// leased ends the jobs that are due before one of a kind.
func (r *rig) leased(want store.JobKind) store.Job {
	r.t.Helper()
	for {
		j, err := r.db.Lease(context.Background(), "test", time.Minute)
		require.NoError(r.t, err)
		if j.Kind == want {
			return j
		}
		require.NoError(r.t, r.db.Finish(context.Background(), j))
	}
}

// webPath puts the three UIDs of an instance in the room into a path. One a room is enough: no request changes it.
func webPath(form string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		got, known := r.looked[room]
		if !known {
			got, _ = r.instance(room)
			r.looked[room] = got
		}
		path := fmt.Sprintf(form, got.StudyUID, strings.Replace(got.StudyUID, "2.25.7.", "2.25.8.", 1), got.SOPInstance)
		path, _, _ = strings.Cut(path, "%!(EXTRA")
		return path, "", nil
	}
}

// stored asks to store a new report.
func stored(path string) func(*rig, string) (string, string, []string) {
	return func(r *rig, _ string) (string, string, []string) {
		r.cases++
		body, contentType := related([]byte(doseReport(fmt.Sprintf("2.25.6.%d", r.cases))))
		return path, body, []string{"Content-Type", contentType}
	}
}

// related writes a multipart/related body.
func related(objects ...[]byte) (body, contentType string) {
	var out strings.Builder
	for _, one := range objects {
		out.WriteString("--edge\r\nContent-Type: application/dicom\r\n\r\n" + string(one) + "\r\n")
	}
	return out.String() + "--edge--\r\n", `multipart/related; type="application/dicom"; boundary=edge`
}

// parts reads a multipart/related answer.
func parts(t *testing.T, a answer, wantType string) [][]byte {
	t.Helper()
	media, params, err := mime.ParseMediaType(a.header.Get("Content-Type"))
	require.NoError(t, err)
	assert.Equal(t, "multipart/related", media)
	assert.Equal(t, wantType, params["type"])
	var all [][]byte
	reader := multipart.NewReader(bytes.NewReader(a.body), params["boundary"])
	for {
		part, err := reader.NextRawPart()
		if err == io.EOF { //nolint:errorlint // the end is io.EOF itself
			return all
		}
		require.NoError(t, err)
		assert.Equal(t, wantType, part.Header.Get("Content-Type"))
		content, err := io.ReadAll(part)
		require.NoError(t, err)
		all = append(all, content)
	}
}

// model is a data set in the DICOM JSON model.
type model map[string]struct {
	VR    string `json:"vr"`
	Value []any
}

func (m model) first(tag string) any {
	if len(m[tag].Value) == 0 {
		return nil
	}
	return m[tag].Value[0]
}

func models(t *testing.T, a answer) []model {
	t.Helper()
	assert.Equal(t, 200, a.status, string(a.body))
	assert.Equal(t, "application/dicom+json", a.header.Get("Content-Type"))
	var all []model
	require.NoError(t, json.Unmarshal(a.body, &all), string(a.body))
	return all
}

const anyDICOM = `multipart/related; type="application/dicom"`

func TestRetrieveGivesTheBytesThatCame(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	got, raw := r.instanceOf(own, "2.25.71", "2.25.72", "2.25.73")
	before := r.head()
	a := r.ask("GET", "/dicomweb/studies/2.25.71/series/2.25.72/instances/2.25.73", token, "")
	require.Equal(t, 200, a.status)
	assert.Equal(t, [][]byte{raw}, parts(t, a, "application/dicom"))
	assert.Equal(t, []string{"instance.retrieve " + got.ID}, r.actions(before))
	a = r.ask("GET", "/dicomweb/studies/2.25.71/series/2.25.72/instances/2.25.73", token, "", "Accept", "application/dicom")
	assert.Equal(t, raw, a.body)
	assert.Equal(t, "application/dicom", a.header.Get("Content-Type"))
	assert.Equal(t, `attachment; filename="`+got.ID+`.dcm"`, a.header.Get("Content-Disposition"))

	_, second := r.instanceOf(own, "2.25.71", "2.25.72", "2.25.74")
	_, third := r.instanceOf(own, "2.25.71", "2.25.75", "2.25.76")
	assert.Equal(t, [][]byte{raw, second, third}, parts(t, r.ask("GET", "/dicomweb/studies/2.25.71", token, "", "Accept", anyDICOM), "application/dicom"))
	assert.Equal(t, [][]byte{third}, parts(t, r.ask("GET", "/dicomweb/studies/2.25.71/series/2.25.75", token, ""), "application/dicom"))
}

func TestTheFirstOfTwoObjectsWithOneUIDIsGiven(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	_, first := r.instanceOf(own, "2.25.71", "2.25.72", "2.25.73")
	changed := bytes.Replace(first, []byte("113704"), []byte("113705"), 1)
	arrival, err := r.db.Receive(context.Background(), bytes.NewReader(changed))
	require.NoError(t, err)
	require.NoError(t, arrival.Keep())
	r.clock.Pass(time.Second)
	_, _, err = r.db.Accept(context.Background(), actor, store.Arrival{Digest: arrival.Digest, SOPClass: doseClass, SOPInstance: "2.25.73", StudyUID: "2.25.71", SeriesUID: "2.25.72"})
	require.NoError(t, err)
	assert.Equal(t, [][]byte{first}, parts(t, r.ask("GET", "/dicomweb/studies/2.25.71", token, ""), "application/dicom"))
	assert.Len(t, models(t, r.ask("GET", "/dicomweb/instances", token, "")), 1)
}

// A preamble may hold the head of a program (CVE-2019-11687): it goes out as zeros and everything else as it came.
func TestThePreambleGoesOutAsZeros(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	raw := []byte(doseReport("2.25.73"))
	wanted := bytes.Clone(raw)
	copy(raw, "MZ\x90\x00 this program cannot be run")
	body, contentType := related(raw)
	require.Equal(t, 200, r.ask("POST", "/dicomweb/studies", token, body, "Content-Type", contentType).status)
	kept, err := r.db.Instances(context.Background(), store.InstanceFilter{})
	require.NoError(t, err)
	require.Len(t, kept, 1)
	inside, err := r.db.Raw(kept[0].Receipt.Digest)
	require.NoError(t, err)
	assert.Equal(t, raw, inside, "kept as it came")
	assert.Equal(t, [][]byte{wanted}, parts(t, r.ask("GET", "/dicomweb/studies/2.25.1002", token, ""), "application/dicom"))
}

func TestMetadata(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	got, raw := r.instanceOf(own, "2.25.71", "2.25.72", "2.25.73")
	r.instanceOf(own, "2.25.71", "2.25.75", "2.25.76")
	before := r.head()
	all := models(t, r.ask("GET", "/dicomweb/studies/2.25.71/series/2.25.72/instances/2.25.73/metadata", token, ""))
	require.Len(t, all, 1)
	f, err := dicomio.Read(raw, dicomio.DefaultLimits())
	require.NoError(t, err)
	assert.Len(t, all[0], len(f.Data))
	assert.Equal(t, map[string]any{"Alphabetic": plantedName}, all[0].first("00100010"))
	assert.NotNil(t, all[0].first("0040A730"))
	assert.Equal(t, []string{"instance.metadata " + got.ID}, r.actions(before))
	assert.Len(t, models(t, r.ask("GET", "/dicomweb/studies/2.25.71/metadata", token, "")), 2)
	assert.Len(t, models(t, r.ask("GET", "/dicomweb/studies/2.25.71/series/2.25.75/metadata", token, "")), 1)
	x := parts(t, r.ask("GET", "/dicomweb/studies/2.25.71/metadata", token, "", "Accept", `multipart/related; type="application/dicom+xml"`), "application/dicom+xml")
	require.Len(t, x, 2)
	assert.Contains(t, string(x[0]), "<FamilyName>Plantedname</FamilyName>")
}

func TestAccept(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	r.instanceOf(own, "2.25.71", "2.25.72", "2.25.73")
	const instance = "/dicomweb/studies/2.25.71/series/2.25.72/instances/2.25.73"
	for _, tt := range []struct {
		path, accept string
		status       int
		media        string
	}{
		{instance, "*/*", 200, "multipart/related"},
		{instance, "multipart/related", 200, "multipart/related"},
		{instance, anyDICOM + "; transfer-syntax=*", 200, "multipart/related"},
		{instance, anyDICOM + "; transfer-syntax=" + dicomio.ExplicitLittleEndian, 200, "multipart/related"},
		{instance, anyDICOM + "; transfer-syntax=" + dicomio.ImplicitLittleEndian, 406, ""},
		{instance, "application/dicom;q=0.9, " + anyDICOM + ";q=0.1", 200, "application/dicom"},
		{instance, "application/*", 200, "application/dicom"},
		{instance, `multipart/related; type="image/jpeg"`, 406, ""},
		{instance, "text/html", 406, ""},
		{instance, "application/dicom;q=0", 406, ""},
		{"/dicomweb/studies/2.25.71", "application/dicom", 406, ""},
		{instance + "/metadata", "application/dicom+json", 200, "application/dicom+json"},
		{instance + "/metadata", "text/html, */*;q=0.1", 200, "application/dicom+json"},
		{instance + "/metadata", "application/dicom+json;q=0, multipart/*", 200, "multipart/related"},
		{instance + "/metadata", "application/dicom+xml", 406, ""},
		{"/dicomweb/studies", `multipart/related;type="application/dicom+xml"`, 200, "multipart/related"},
		{"/dicomweb/studies", ";;;", 406, ""},
	} {
		a := r.ask("GET", tt.path, token, "", "Accept", tt.accept)
		assert.Equal(t, tt.status, a.status, "%s %s", tt.path, tt.accept)
		if tt.status == 200 {
			media, _, err := mime.ParseMediaType(a.header.Get("Content-Type"))
			require.NoError(t, err)
			assert.Equal(t, tt.media, media, "%s %s", tt.path, tt.accept)
		}
	}
}
