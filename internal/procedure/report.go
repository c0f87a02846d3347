package procedure

import "afterbeam/internal/quantity"

// Report is what one received dose report says, in canonical units, with Findings for all that was odd.
type Report struct {
	SOPClassUID    string
	SOPInstanceUID string
	SeriesUID      string
	StudyUID       string
	TransferSyntax string

	// BytesDigest is the SHA-256 of the received bytes, DataSetDigest of the data set without file meta and transfer
	// syntax, ContentDigest of the content tree alone; all in lower-case hex.
	BytesDigest, DataSetDigest, ContentDigest string

	Patient    Patient
	Study      Study
	Content    Moment // content date and time
	Device     Device
	Persons    []Person
	Intent     Code
	Purpose    Purpose
	DeviceKind Code // acquisition device type, PS3.16 CID 10032
	Scope      Scope
	ScopeUID   string
	Sources    []Code // sources of dose information
	Complete   bool   // completion flag says COMPLETE
	Verified   bool
	Comment    string
	// DoseImages are images that show the dose.
	DoseImages []ImageReference
	// DetectorData, SourceData and MechanicalData say which kinds of rows the report claims to have.
	DetectorData, SourceData, MechanicalData Availability

	Planes []PlaneTotal
	Events []Event

	Findings []Finding
}

// Availability is what a report says of its own rows (PS3.16 CID 230).
type Availability uint8

// The answers; AvailabilityUnsaid is no answer or an undetermined one.
const (
	AvailabilityUnsaid Availability = iota
	AvailabilityYes
	AvailabilityNo
)

// Purpose says whether a report is about a patient.
type Purpose uint8

// The purposes.
const (
	PurposePatient Purpose = iota
	// PurposeQualityControl is intent 113680: a test object, no patient flag.
	PurposeQualityControl
)

// Study is the study and order the report belongs to.
type Study struct {
	Description     string
	ProcedureCodes  []Code
	AccessionNumber string
	Date            Moment
	Performed       string // performed or requested procedure description
	Institution     string
}

// Device is the irradiating equipment.
type Device struct {
	UID          string // device observer UID
	Name         string
	Manufacturer string
	Model        string
	Serial       string
	Station      string
	Room         string // physical location during observation
	Software     string
}

// Key gives what identifies the device among others: its observer UID, else manufacturer, model and serial number, else
// its station name, else "unknown device".
func (d Device) Key() string {
	switch {
	case d.UID != "":
		return d.UID
	case d.Serial != "":
		return d.Manufacturer + "|" + d.Model + "|" + d.Serial
	case d.Station != "":
		return "station|" + d.Station
	}
	return "unknown device"
}

// Person is somebody named in a report with the role there.
type Person struct {
	Name, Login, ID, Issuer, Organization string
	RoleInProcedure, RoleInOrganization   Code
}

// Patient is whom the report is about. Height and weight outside what a person can have are absent, with a Finding.
type Patient struct {
	ID, Issuer string
	Name       string
	BirthDate  string // 2006-01-02, or ""
	Sex        string // M, F, O or ""
	AgeYears   quantity.Opt[float64]
	Height     quantity.Opt[quantity.Millimetre]
	Weight     quantity.Opt[quantity.Kilogram]
	// Pregnancy is DICOM's pregnancy status: 1 not, 2 possibly, 3 definitely, 4 unknown, 0 not given.
	Pregnancy int
}

// MayBePregnant tells whether the report says that the patient is, possibly or definitely, pregnant.
func (p Patient) MayBePregnant() bool { return p.Pregnancy == 2 || p.Pregnancy == 3 }

// PlaneTotal is the accumulated dose of one plane (PS3.16 TID 10002 with 10004, 10006 and 10007).
type PlaneTotal struct {
	Plane             Plane
	KAP               quantity.Opt[quantity.GraySquareMetre]
	RefKerma          quantity.Opt[quantity.Gray]
	FluoroKAP         quantity.Opt[quantity.GraySquareMetre]
	FluoroKerma       quantity.Opt[quantity.Gray]
	FluoroTime        quantity.Opt[quantity.Second]
	AcquisitionKAP    quantity.Opt[quantity.GraySquareMetre]
	AcquisitionKerma  quantity.Opt[quantity.Gray]
	AcquisitionTime   quantity.Opt[quantity.Second]
	Frames            quantity.Opt[float64]
	SourceToReference quantity.Opt[quantity.Millimetre]
	RefPoint          ReferencePoint
	DetectorKind      Code
	Calibrations      []Calibration
	Suspicion         Suspicion
	// Partial marks quantities (SuspectKerma, SuspectKAP) whose merged total is known to leave out a part: it is a
	// lower bound, so it can reach a level but never lie below one. A single report's total is never partial.
	Partial Suspicion
}

// Calibration is a calibration entry of a report. Its factor is shown, never applied: whether the report's values
// already contain it changed between editions of the standard.
type Calibration struct {
	Device      Code // what was calibrated with
	When        Moment
	Factor      quantity.Opt[float64]
	Uncertainty quantity.Opt[quantity.Percent]
	Responsible string
	Protocol    string
}
