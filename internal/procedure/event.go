package procedure

import "afterbeam/internal/quantity"

// Event is one irradiation event of one plane (PS3.16 TID 10003), in canonical units.
type Event struct {
	UID       string
	Plane     Plane
	Start     Moment
	Type      EventType
	Label     string
	LabelType Code // what the label numbers, PS3.16 CID 10022
	Protocol  string
	Anatomy   Code
	Side      Code // laterality of the anatomy
	Target    Code // target region
	View      Code
	// ViewModifiers refine the view; Eponym is the projection's eponymous name.
	ViewModifiers []Code
	Eponym        Code
	Attitude      Code // patient orientation: recumbent, erect, semi-erect (PS3.16 CID 19)
	Direction     Direction
	Posture       Posture
	Comment       string
	Persons       []Person

	KAP       quantity.Opt[quantity.GraySquareMetre]
	RefKerma  quantity.Opt[quantity.Gray] // air kerma at the reference point, Dose (RP)
	RefPoint  ReferencePoint
	Technique Technique
	Filters   []Filter
	Field     Field
	Mechanics Mechanics
	// Images are the acquired images.
	Images []ImageReference

	// Suspicion marks quantities of this event that are not believed; see Suspicion.
	Suspicion Suspicion
	// ReportUID names the report it came from.
	ReportUID string
	// Place is where in that report, such as "irradiation event 3".
	Place string
}

// ImageReference names one image. Series and study are known where the report's evidence lists the image.
type ImageReference struct {
	ClassUID, InstanceUID string
	SeriesUID, StudyUID   string
}

// ReferencePoint says where the reference air kerma is meant (PS3.16 CID 10025), by code, else by free text.
type ReferencePoint struct {
	Code Code
	Text string
}

// Technique is how the tube was driven. Repeated values are kept as they came, one per pulse or per step.
type Technique struct {
	PulsedKnown   bool
	Pulsed        bool // false with PulsedKnown: continuous
	PulseRate     quantity.Opt[quantity.PerSecond]
	Pulses        quantity.Opt[float64]
	PulsesGuessed bool // the report says that the number of pulses is estimated
	PulseWidths   []quantity.Second
	Duration      quantity.Opt[quantity.Second] // irradiation duration, clock time
	Voltages      []quantity.Kilovolt
	Currents      []quantity.Milliampere
	MeanCurrent   quantity.Opt[quantity.Milliampere]
	ExposureTime  quantity.Opt[quantity.Second] // total beam-on time
	Exposures     []quantity.MilliampereSecond  // mean current-time product per pulse
	FocalSpot     quantity.Opt[quantity.Millimetre]
	HalfValue     quantity.Opt[quantity.Millimetre]
	WaterEquiv    quantity.Opt[quantity.Millimetre] // patient equivalent thickness
	Anode         Code
	ExposureIndex quantity.Opt[float64]
	TargetIndex   quantity.Opt[float64] // target exposure index
	Deviation     quantity.Opt[float64] // deviation index
	Grids         []Code                // PS3.16 CID 10017
}

// FilterType is the shape of an X-ray filter (PS3.16 CID 10007).
type FilterType uint8

// The filter types. Only flat filters belong to the spectrum; strip, wedge and butterfly filters shade a part of it.
const (
	FilterUnknown FilterType = iota
	FilterFlat
	FilterStrip
	FilterWedge
	FilterButterfly
	FilterNone
)

// Metal is the material of a filter or anode, one name for all generations of codes.
type Metal uint8

// The metals of PS3.16 CID 10006 and 10016.
const (
	MetalUnknown Metal = iota
	Aluminium
	Copper
	Molybdenum
	Rhodium
	Niobium
	Europium
	Lead
	Tantalum
	Silver
	Tin
	Tungsten
)

// Filter is one filter in the beam.
type Filter struct {
	Type     FilterType
	Metal    Metal
	Material Code
	Min, Max quantity.Opt[quantity.Millimetre]
}

// Field is the collimated field, at the detector plane unless the device profile says otherwise.
type Field struct {
	Area          quantity.Opt[quantity.SquareMetre]
	Height, Width quantity.Opt[quantity.Millimetre] // along pixel columns and rows
}

// Mechanics is where tube, detector and table stood. Angles are as reported: primary LAO +, secondary cranial +.
type Mechanics struct {
	Primary, Secondary       quantity.Opt[quantity.Degree]
	PrimaryEnd, SecondaryEnd quantity.Opt[quantity.Degree]
	Column                   quantity.Opt[quantity.Degree]
	// DetectorRotation turns the detector in its own plane, and the field with it (PS3.16 128759).
	DetectorRotation  quantity.Opt[quantity.Degree]
	Mount             Code // mechanical configuration of a CR or DR system, PS3.16 CID 10031
	SourceToIsocentre quantity.Opt[quantity.Millimetre]
	SourceToReference quantity.Opt[quantity.Millimetre]
	SourceToDetector  quantity.Opt[quantity.Millimetre]
	SourceToTable     quantity.Opt[quantity.Millimetre]
	// TableLongitudinal, TableLateral and TableHeight have the meaning, sign and zero that the device profile says.
	TableLongitudinal, TableLongitudinalEnd quantity.Opt[quantity.Millimetre]
	TableLateral, TableLateralEnd           quantity.Opt[quantity.Millimetre]
	TableHeight, TableHeightEnd             quantity.Opt[quantity.Millimetre]
	// TableX, TableY and TableZ are the place of the table reference point in the isocentre system: X to the table's
	// left, Y down, Z to the table's head (PS3.16 128766 to 128771).
	TableX, TableXEnd quantity.Opt[quantity.Millimetre]
	TableY, TableYEnd quantity.Opt[quantity.Millimetre]
	TableZ, TableZEnd quantity.Opt[quantity.Millimetre]
	TableHeadTilt     quantity.Opt[quantity.Degree]
	TableRotation     quantity.Opt[quantity.Degree]
	TableCradleTilt   quantity.Opt[quantity.Degree]
	Compression       quantity.Opt[quantity.Millimetre] // compression thickness
	// MechanicalDataSaidAbsent tells that the report says it has no mechanical data.
	MechanicalDataSaidAbsent bool
}

// Suspicion is a set of quantities of an event or a total that are not believed. A suspect quantity gives no estimate;
// it never removes a flag.
type Suspicion uint8

// The quantities that can be suspect.
const (
	SuspectKerma Suspicion = 1 << iota
	SuspectKAP
	SuspectField
	SuspectDistance
	SuspectAngle
	SuspectVoltage
)

// Has tells whether the set holds q.
func (s Suspicion) Has(q Suspicion) bool { return s&q != 0 }
