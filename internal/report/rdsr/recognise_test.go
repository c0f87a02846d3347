package rdsr_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// SOP classes: NEMA, DICOM PS3.6 table A-1. Procedure codes: PS3.16 TID 10001 row 2 and TID 10011 row 2.
func TestRecognise(t *testing.T) {
	const dose, enhancedSR = "1.2.840.10008.5.1.4.1.1.88.67", "1.2.840.10008.5.1.4.1.1.88.22"
	tests := map[string]struct {
		class    string
		reported [2]string
		want     error
	}{
		"projection dose report":           {dose, [2]string{"113704", "DCM"}, nil},
		"dose report without the row":      {dose, [2]string{}, nil},
		"in a general class":               {enhancedSR, [2]string{"113704", "DCM"}, nil},
		"general report of something else": {enhancedSR, [2]string{}, rdsr.ErrNoDoseTree},
		"computed tomography":              {dose, [2]string{"77477000", "SCT"}, rdsr.ErrCT},
		"computed tomography, old code":    {dose, [2]string{"P5-08000", "SRT"}, rdsr.ErrCT},
		"mammography":                      {dose, [2]string{"71651007", "SCT"}, rdsr.ErrMammography},
		"mammography, old code":            {dose, [2]string{"P5-40010", "SNM3"}, rdsr.ErrMammography},
		"enhanced dose report":             {"1.2.840.10008.5.1.4.1.1.88.76", [2]string{}, rdsr.ErrEnhanced},
		"patient dose report":              {"1.2.840.10008.5.1.4.1.1.88.73", [2]string{}, rdsr.ErrPatientDose},
		"radiopharmaceutical dose report":  {"1.2.840.10008.5.1.4.1.1.88.68", [2]string{}, rdsr.ErrRadiopharmaceutical},
		"angiography image":                {"1.2.840.10008.5.1.4.1.1.12.1", [2]string{}, rdsr.ErrOtherObject},
		"no class":                         {"", [2]string{}, rdsr.ErrOtherObject},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			assert.ErrorIs(t, rdsr.Recognise(dicomio.Identity{SOPClassUID: tt.class, ProcedureReported: tt.reported}), tt.want)
		})
	}
}
