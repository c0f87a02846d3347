package procedure

import "afterbeam/internal/quantity"

// AngleFrame says what the reported positioner angles are relative to.
type AngleFrame uint8

// The frames. The standard wants the patient's; a device may follow its gantry.
const (
	FrameUnknown AngleFrame = iota
	FramePatient
	FrameGantry
)

// AxisMeaning says what a reported table position means, seen by the table.
type AxisMeaning uint8

// The meanings. Positive is toward the named side when the axis sign is +1.
const (
	AxisUnknown AxisMeaning = iota
	AxisTableHead
	AxisTableLeft
	AxisTableDown
)

// TableAxis is one reported table position as the device profile explains it.
type TableAxis struct {
	Meaning AxisMeaning
	// Sign is +1 when the number grows toward the meaning's side, -1 when it shrinks.
	Sign int
	// Zero is the reported number at which the table reference point (for height: the table top) is at the isocentre;
	// absent when only relative motion is known.
	Zero quantity.Opt[quantity.Millimetre]
}

// FieldPlane says at which plane the reported field size is meant.
type FieldPlane uint8

// The planes of a field size.
const (
	FieldAtDetector FieldPlane = iota
	FieldAtReference
	FieldAtIsocentre
)

// Factor is a signed-for calibration factor, measured over displayed.
type Factor struct {
	Value float64
	// Uncertainty is one standard deviation in percent.
	Uncertainty   quantity.Percent
	From, Until   string // local dates 2006-01-02, first and last day of validity; "" is open
	IncludesTable bool   // the factor was measured behind the table: never used together with table transmission
}

// Believable tells whether a factor is a number that a display can be off by, 0.1 to 10, with an uncertainty of 0 to 100
// percent; judgement, far beyond what displays are.
func (f Factor) Believable() bool {
	return f.Value >= 0.1 && f.Value <= 10 && f.Uncertainty >= 0 && f.Uncertainty <= 100
}

// MeterKnowledge is what is known of the air kerma display when there is no valid signed factor.
type MeterKnowledge uint8

// The classes of knowledge of the display.
const (
	MeterUnchecked MeterKnowledge = iota
	MeterChecked                  // a display check is on file
)

// TableLayer is one layer of table or mattress.
type TableLayer struct {
	Material string // carbon_fibre, foam, aluminium, water, pmma
	Mass     quantity.GramPerSquareCentimetre
}

// TableKnowledge is how the table's layers are known.
type TableKnowledge uint8

// The classes of knowledge of the table.
const (
	TableDefault TableKnowledge = iota
	TableTyped
	TableMeasured
)

// DeviceProfile is what a physicist has signed for about one device from one date on. The zero profile is an unknown
// device: every field then has its stated default.
type DeviceProfile struct {
	Device   string // Device.Key it belongs to
	Name     string
	Version  string
	From     string // local date it holds from
	SignedBy string // without a signature no factor is applied
	// ApprovedBy is the second physicist, without whom the service does not use the profile.
	ApprovedBy string

	KermaFactor quantity.Opt[Factor]
	KAPFactor   quantity.Opt[Factor]
	Meter       MeterKnowledge

	RefPoint          quantity.Opt[quantity.Millimetre] // focus to reference point
	SourceToIsocentre quantity.Opt[quantity.Millimetre]
	Mobile            bool
	Angles            AngleFrame
	FieldPlane        FieldPlane

	Longitudinal, Lateral, Height TableAxis

	InherentAluminium quantity.Opt[quantity.Millimetre] // inherent filtration, mm Al
	Layers            []TableLayer
	LayersKnown       TableKnowledge
	TableWidth        quantity.Opt[quantity.Millimetre]
	TableLength       quantity.Opt[quantity.Millimetre]
	MattressThickness quantity.Opt[quantity.Millimetre] // compressed: table top to skin
}

// Arms says where the patient's arms were.
type Arms uint8

// The positions of the arms.
const (
	ArmsUnknown   Arms = iota
	ArmsRaised         // beside or above the head, out of every beam to the trunk
	ArmsAlongside      // beside the trunk
)

// Facts are what people add to a procedure, each replacing what the report says or lacks.
type Facts struct {
	Height    quantity.Opt[quantity.Millimetre]
	Weight    quantity.Opt[quantity.Kilogram]
	AgeYears  quantity.Opt[float64]
	Sex       string
	Class     string // procedure class of the lexicon
	Direction Direction
	Posture   Posture
	Arms      Arms
	// TableOffset moves the place along the body that lies at the isocentre, headward positive.
	TableOffset quantity.Opt[quantity.Millimetre]
	// PatientThickness is the measured depth of the patient at the beam, for the class of knowledge of distances.
	PatientThickness quantity.Opt[quantity.Millimetre]
}
