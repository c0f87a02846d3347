package rdsr

import "errors"

// The refusals of Read. Each is wrapped with what was found and what was expected.
var (
	// ErrOtherObject is an object of another SOP class, such as an image.
	ErrOtherObject = errors.New("not a structured report")
	// ErrCT is a dose report of computed tomography (TID 10011).
	ErrCT = errors.New("dose report of computed tomography")
	// ErrMammography is a dose report of mammography.
	ErrMammography = errors.New("dose report of mammography")
	// ErrEnhanced is an Enhanced X-Ray Radiation Dose SR (TID 10040): recognised, kept, not evaluated.
	ErrEnhanced = errors.New("enhanced x-ray radiation dose report is not evaluated")
	// ErrRadiopharmaceutical is a Radiopharmaceutical Radiation Dose SR.
	ErrRadiopharmaceutical = errors.New("radiopharmaceutical radiation dose report")
	// ErrPatientDose is a Patient Radiation Dose SR, an estimate of somebody else.
	ErrPatientDose = errors.New("patient radiation dose report")
	// ErrNoDoseTree is a structured report without the tree of an X-ray radiation dose report.
	ErrNoDoseTree = errors.New("no x-ray radiation dose report in the content")
	// ErrNoStudy is a report without a usable Study Instance UID.
	ErrNoStudy = errors.New("no study instance uid")
	// ErrNoInstance is a report without a usable SOP Instance UID.
	ErrNoInstance = errors.New("no sop instance uid")
)
