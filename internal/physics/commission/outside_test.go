package commission_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
)

// outsideReader lists, for each irradiation event, what another reader of DICOM finds in the test report.
const outsideReader = `
import json, sys, pydicom
wanted = {"112011": "primary", "112012": "secondary", "113751": "longitudinal", "113752": "lateral", "113753": "height"}
out = []
for item in pydicom.dcmread(sys.argv[1]).ContentSequence:
    if item.ConceptNameCodeSequence[0].CodeValue != "113706":
        continue
    row = {}
    def walk(items):
        for x in items:
            name = wanted.get(x.ConceptNameCodeSequence[0].CodeValue)
            if name and x.ValueType == "NUM":
                row[name] = float(x.MeasuredValueSequence[0].NumericValue)
            walk(getattr(x, "ContentSequence", []))
    walk(item.ContentSequence)
    out.append(row)
print(json.dumps(out))
`

// The reports that the tests are made of say to outside programs what they were made to say.
func TestTheTestReportReadFromOutside(t *testing.T) {
	record := filled(t)
	report := plainEquipment().reported(record.Exposures, still, still)
	var b bytes.Buffer
	require.NoError(t, rdsr.Write(&b, report, rdsr.WriteOptions{}))
	file := filepath.Join(t.TempDir(), "report.dcm")
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))

	said, err := exec.Command(peer.Need(t, "dsrdump"), "-q", file).CombinedOutput()
	require.NoError(t, err, string(said))

	python := peer.Need(t, "/usr/bin/python3")
	said, err = exec.Command(python, "-c", outsideReader, file).CombinedOutput()
	require.NoError(t, err, string(said))
	var got []map[string]float64
	require.NoError(t, json.Unmarshal(said, &got))
	require.Len(t, got, len(report.Events))
	for i, e := range report.Events {
		m := e.Mechanics
		assert.Equal(t, map[string]float64{
			"primary": float64(m.Primary.Or(0)), "secondary": float64(m.Secondary.Or(0)), "longitudinal": float64(m.TableLongitudinal.Or(0)),
			"lateral": float64(m.TableLateral.Or(0)), "height": float64(m.TableHeight.Or(0)),
		}, got[i])
	}
	// By hand, from the words of the standard: registered prone with the detector over the table's left side and tipped to its
	// head, the detector is behind the patient's right: RAO beyond 90 degrees, cranial.
	assert.Equal(t, procedure.Prone, report.Events[10].Posture)
	assert.InDelta(t, -150, got[10]["primary"], 1e-9)
	assert.InDelta(t, 20, got[10]["secondary"], 1e-9)
	// Feet first: to the patient's right, caudal.
	assert.InDelta(t, -30, got[9]["primary"], 1e-9)
	assert.InDelta(t, -20, got[9]["secondary"], 1e-9)
}
