package archive_test

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func first(t testing.TB) procedure.Report {
	t.Helper()
	for _, c := range demo.Cases() {
		if len(c.Report.Events) > 10 {
			return c.Report
		}
	}
	t.Fatal("no case with events")
	return procedure.Report{}
}

// text compares values whose times are the same but come from another place.
func text(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}

func TestReportsReadBackWithoutIdentity(t *testing.T) {
	for _, c := range demo.Cases() {
		r := c.Report
		r.Findings = []procedure.Finding{{Rule: "a", Severity: procedure.Suspect}, {Rule: "b"}}
		kept, err := archive.Report(r)
		require.NoError(t, err)
		again, err := archive.Report(r)
		require.NoError(t, err)
		require.Equal(t, kept, again, "the same report gives the same bytes")
		got, err := archive.ReadReport(kept)
		require.NoError(t, err)
		assert.Empty(t, got.Patient.ID+got.Patient.Issuer+got.Patient.Name+got.Patient.BirthDate, c.File)
		want := r
		want.Patient = got.Patient
		assert.True(t, text(t, procedure.Merge([]procedure.Report{want})) == text(t, procedure.Merge([]procedure.Report{got})), c.File)
		assert.Equal(t, want.Findings, got.Findings)
	}
}

func TestTheAgeTellsNoBirthDate(t *testing.T) {
	tests := map[string]struct{ give, want float64 }{
		"a grown-up":     {45.83, 45},
		"a small child":  {1.3, 15.0 / 12},
		"a newborn":      {0.01, 0},
		"two years old":  {2.0, 2},
		"as it is given": {70, 70},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := first(t)
			r.Patient.AgeYears = quantity.Some(tt.give)
			kept, err := archive.Report(r)
			require.NoError(t, err)
			got, err := archive.ReadReport(kept)
			require.NoError(t, err)
			assert.Equal(t, quantity.Some(tt.want), got.Patient.AgeYears)
		})
	}
}

func TestAssessmentsReadBack(t *testing.T) {
	m := assessment.Default()
	facts := procedure.Facts{Weight: quantity.Some(quantity.Kilogram(104))}
	a := m.Assess(procedure.Merge([]procedure.Report{first(t)})[0], facts)
	require.NotNil(t, a.SkinDose.Map)

	kept, err := archive.Procedure(archive.Case{Procedure: a.Procedure, Facts: facts})
	require.NoError(t, err)
	c, err := archive.ReadProcedure(kept)
	require.NoError(t, err)
	assert.Equal(t, len(a.Procedure.Events), len(c.Procedure.Events))
	assert.Equal(t, a.Dose, c.Procedure.CaseDose())
	assert.Equal(t, facts, c.Facts)

	drawn, err := archive.Map(a, m.MaxPatch)
	require.NoError(t, err)
	p, err := archive.ReadMap(drawn)
	require.NoError(t, err)
	assert.Equal(t, a.SkinDose.Map.Dose, p.Map.Dose, "bit for bit")
	assert.Equal(t, a.SkinDose.Map.Peak, p.Map.Peak)
	assert.Equal(t, a.SkinDose.Map.Body.Name, p.Map.Body.Name)
	assert.Equal(t, a.SkinDose.High, p.High)

	facts.Arms = procedure.ArmsAlongside
	arms := m.Assess(a.Procedure, facts)
	drawn, err = archive.Map(arms, m.MaxPatch)
	require.NoError(t, err)
	with, err := archive.ReadMap(drawn)
	require.NoError(t, err)
	assert.Equal(t, arms.SkinDose.Map.Body.Patches, with.Map.Body.Patches)
	assert.Greater(t, len(with.Map.Dose), len(p.Map.Dose))
	t.Logf("%d events in %d bytes, a map of %d patches in %d bytes", len(c.Procedure.Events), len(kept), len(p.Map.Dose), len(drawn))
}

func TestOtherBytesAreSaidToBe(t *testing.T) {
	a := assessment.Default().Assess(procedure.Merge([]procedure.Report{first(t)})[0], procedure.Facts{})
	report, err := archive.Report(first(t))
	require.NoError(t, err)
	drawn, err := archive.Map(a, 0)
	require.NoError(t, err)
	other := bytes.Clone(report)
	other[1] = 99
	damaged := bytes.Clone(report)
	damaged[len(damaged)/2] ^= 1
	for name, give := range map[string][]byte{
		"nothing": nil, "a map": drawn, "a later version": other, "damaged": damaged, "cut off": report[:len(report)/2], "no form at all": []byte("hello"),
	} {
		_, err := archive.ReadReport(give)
		require.ErrorIs(t, err, archive.ErrBroken, name)
		_, err = archive.ReadProcedure(give)
		require.ErrorIs(t, err, archive.ErrBroken, name)
	}
	_, err = archive.ReadMap(report)
	require.ErrorIs(t, err, archive.ErrBroken)
	_, err = archive.ReadMap(drawn[:len(drawn)-9])
	require.ErrorIs(t, err, archive.ErrBroken)
}

// FuzzRead wants an error or a value of any bytes, never a panic, and that what was read is written the same again.
func FuzzRead(f *testing.F) {
	r := first(f)
	r.Events = r.Events[:2]
	report, err := archive.Report(r)
	require.NoError(f, err)
	kept, err := archive.Procedure(archive.Case{Procedure: procedure.Merge([]procedure.Report{r})[0]})
	require.NoError(f, err)
	for _, seed := range [][]byte{report, kept, nil, {'r', 1}} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		_, _ = archive.ReadProcedure(data)
		got, err := archive.ReadReport(data)
		if err != nil {
			return
		}
		once, err := archive.Report(got)
		require.NoError(t, err)
		again, err := archive.ReadReport(once)
		require.NoError(t, err)
		twice, err := archive.Report(again)
		require.NoError(t, err)
		require.Equal(t, once, twice)
	})
}

// FuzzReadMap wants an error or a map that fits its body of any bytes. The fuzzed text is compressed here, since hardly
// any change of compressed bytes passes their checksum.
func FuzzReadMap(f *testing.F) {
	f.Add([]byte{}, false)
	f.Add([]byte("\x02\x00\x00\x00{}"), false)
	f.Add([]byte(`{"Size":{},"Patch":100,"Doses":300}`), true)
	f.Fuzz(func(t *testing.T, data []byte, headed bool) {
		if headed {
			data = append(binary.LittleEndian.AppendUint32(nil, uint32(len(data))), data...)
			data = append(data, make([]byte, 8*300)...)
		}
		var b bytes.Buffer
		b.Write([]byte{'m', 1})
		z := gzip.NewWriter(&b)
		_, err := z.Write(data)
		require.NoError(t, err)
		require.NoError(t, z.Close())
		if p, err := archive.ReadMap(b.Bytes()); err == nil {
			require.Len(t, p.Map.Dose, len(p.Map.Body.Patches))
		}
	})
}
