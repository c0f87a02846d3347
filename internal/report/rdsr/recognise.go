package rdsr

import (
	"fmt"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
)

// Recognise tells from an object's identity alone whether it is a dose report that Read can be expected to read: nil, or
// the refusal that Read would give. A general structured report is recognised by what its tree says of the procedure.
func Recognise(id dicomio.Identity) error {
	general, err := judgeClass(id.SOPClassUID)
	if err != nil {
		return err
	}
	reported := theCodes().canonical(procedure.Code{Value: id.ProcedureReported[0], Scheme: id.ProcedureReported[1]})
	switch {
	case reported.Is("77477000", "SCT"):
		return fmt.Errorf("%w: procedure reported is computed tomography, projection X-ray (113704, DCM) expected", ErrCT)
	case reported.Is("71651007", "SCT"):
		return fmt.Errorf("%w: procedure reported is mammography, projection X-ray (113704, DCM) expected", ErrMammography)
	case general && reported.IsZero():
		return fmt.Errorf("%w: a structured report that names no procedure reported", ErrNoDoseTree)
	}
	return nil
}

// judgeClass refuses every SOP class that is no dose report of this kind; general tells that it is one of the general
// structured report classes into which archives convert.
func judgeClass(class string) (general bool, err error) {
	const expected = "X-Ray Radiation Dose SR (" + classDose + ") expected"
	switch class {
	case classDose:
		return false, nil
	case classEnhancedSR, classComprehensiveSR, classComprehensive3DSR:
		return true, nil
	case classEnhancedDose:
		return false, fmt.Errorf("%w: SOP class %s, %s", ErrEnhanced, class, expected)
	case classPatientDose:
		return false, fmt.Errorf("%w: SOP class %s, %s", ErrPatientDose, class, expected)
	case classRadiopharmaceutical:
		return false, fmt.Errorf("%w: SOP class %s, %s", ErrRadiopharmaceutical, class, expected)
	case "":
		return false, fmt.Errorf("%w: no SOP class in (0008,0016), %s", ErrOtherObject, expected)
	}
	return false, fmt.Errorf("%w: SOP class %s, %s", ErrOtherObject, className(class), expected)
}
