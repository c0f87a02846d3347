package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Concepts of the irradiation event that have a row of their own kind.
func conceptEvent() procedure.Code          { return dcm("113706", "Irradiation Event X-Ray Data") }
func conceptPlane() procedure.Code          { return dcm("113764", "Acquisition Plane") }
func conceptEventUID() procedure.Code       { return dcm("113769", "Irradiation Event UID") }
func conceptLabel() procedure.Code          { return dcm("113605", "Irradiation Event Label") }
func conceptLabelType() procedure.Code      { return dcm("113606", "Label Type") }
func conceptStarted() procedure.Code        { return dcm("111526", "DateTime Started") }
func conceptAnatomy() procedure.Code        { return sct("91723000", "Anatomical structure") }
func conceptLaterality() procedure.Code     { return sct("272741003", "Laterality") }
func conceptView() procedure.Code           { return dcm("111031", "Image View") }
func conceptViewModifier() procedure.Code   { return dcm("111032", "Image View Modifier") }
func conceptAttitude() procedure.Code       { return dcm("113743", "Patient Orientation") }
func conceptPosture() procedure.Code        { return dcm("113744", "Patient Orientation Modifier") }
func conceptRefPoint() procedure.Code       { return dcm("113780", "Reference Point Definition") }
func conceptFluoroMode() procedure.Code     { return dcm("113732", "Fluoro Mode") }
func conceptPulses() procedure.Code         { return dcm("113768", "Number of Pulses") }
func conceptDerivation() procedure.Code     { return dcm("121401", "Derivation") }
func conceptExposureTime() procedure.Code   { return dcm("113824", "Exposure Time") }
func conceptRetiredTime() procedure.Code    { return dcm("113735", "Exposure Time") }
func conceptFilters() procedure.Code        { return dcm("113771", "X-Ray Filters") }
func conceptFilterType() procedure.Code     { return dcm("113772", "X-Ray Filter Type") }
func conceptFilterMaterial() procedure.Code { return dcm("113757", "X-Ray Filter Material") }
func conceptAcquiredImage() procedure.Code  { return dcm("113795", "Acquired Image") }
func conceptComment() procedure.Code        { return dcm("121106", "Comment") }

// eventTexts are the TEXT and UIDREF rows of TID 10003.
func eventTexts() []textRow[procedure.Event] {
	type e = procedure.Event
	return []textRow[e]{
		{conceptEventUID(), "UIDREF", func(o *e) *string { return &o.UID }},
		{conceptLabel(), "TEXT", func(o *e) *string { return &o.Label }},
		{dcm("125203", "Acquisition Protocol"), "TEXT", func(o *e) *string { return &o.Protocol }},
		{conceptComment(), "TEXT", func(o *e) *string { return &o.Comment }},
	}
}

// eventCodes are the CODE rows of TID 10003, 10003B and 10003C.
func eventCodes() []codedRow[procedure.Event] {
	type e = procedure.Event
	return []codedRow[e]{
		enumerated(conceptPlane(), planes(), procedure.PlaneUnknown, func(o *e) *procedure.Plane { return &o.Plane }),
		enumerated(dcm("113721", "Irradiation Event Type"), eventTypes(), procedure.EventUnknown, func(o *e) *procedure.EventType { return &o.Type }),
		coded(conceptAnatomy(), func(o *e) *procedure.Code { return &o.Anatomy }),
		coded(conceptView(), func(o *e) *procedure.Code { return &o.View }),
		coded(dcm("113946", "Projection Eponymous Name"), func(o *e) *procedure.Code { return &o.Eponym }),
		enumerated(dcm("113745", "Patient Table Relationship"), directions(), procedure.DirectionOther, func(o *e) *procedure.Direction { return &o.Direction }),
		coded(conceptAttitude(), func(o *e) *procedure.Code { return &o.Attitude }),
		coded(dcm("123014", "Target Region"), func(o *e) *procedure.Code { return &o.Target }),
		fluoroMode(),
		coded(dcm("111632", "Anode Target Material"), func(o *e) *procedure.Code { return &o.Technique.Anode }),
		codedList(dcm("111635", "X-Ray Grid"), func(o *e) *[]procedure.Code { return &o.Technique.Grids }),
		coded(dcm("113956", "CR/DR Mechanical Configuration"), func(o *e) *procedure.Code { return &o.Mechanics.Mount }),
	}
}

// childCodes are the CODE rows that modify another row of the event.
type childCode struct {
	parent procedure.Code
	row    codedRow[procedure.Event]
}

func eventChildCodes() []childCode {
	type e = procedure.Event
	return []childCode{
		{conceptLabel(), coded(conceptLabelType(), func(o *e) *procedure.Code { return &o.LabelType })},
		{conceptAnatomy(), coded(conceptLaterality(), func(o *e) *procedure.Code { return &o.Side })},
		{conceptView(), codedList(conceptViewModifier(), func(o *e) *[]procedure.Code { return &o.ViewModifiers })},
		{conceptAttitude(), enumerated(conceptPosture(), postures(), procedure.PostureOther, func(o *e) *procedure.Posture { return &o.Posture })},
		{conceptPulses(), pulsesDerivation()},
	}
}

func fluoroMode() codedRow[procedure.Event] {
	continuous, pulsed := dcm("113630", "Continuous"), dcm("113631", "Pulsed")
	return codedRow[procedure.Event]{
		concept: conceptFluoroMode(),
		get: func(o *procedure.Event) []procedure.Code {
			switch {
			case !o.Technique.PulsedKnown:
				return nil
			case o.Technique.Pulsed:
				return []procedure.Code{pulsed}
			}
			return []procedure.Code{continuous}
		},
		set: func(o *procedure.Event, c procedure.Code) bool {
			o.Technique.Pulsed = identity(c) == identity(pulsed)
			o.Technique.PulsedKnown = o.Technique.Pulsed || identity(c) == identity(continuous)
			return o.Technique.PulsedKnown
		},
	}
}

// pulsesDerivation is TID 10003B row 8.
func pulsesDerivation() codedRow[procedure.Event] {
	estimated := sct("414135002", "Estimated")
	return codedRow[procedure.Event]{
		concept: conceptDerivation(),
		get: func(o *procedure.Event) []procedure.Code {
			if o.Technique.PulsesGuessed {
				return []procedure.Code{estimated}
			}
			return nil
		},
		set: func(o *procedure.Event, c procedure.Code) bool {
			o.Technique.PulsesGuessed = identity(c) == identity(estimated)
			return true
		},
	}
}

// eventNumbers are the NUM rows of TID 10003 and 10003A, B and C. The distances of row 11 of 10003C are CID 10008.
func eventNumbers() []numberRow[procedure.Event] {
	return append(append(eventDose(), eventTechnique()...), eventMechanics()...)
}

func eventDose() []numberRow[procedure.Event] {
	type e = procedure.Event
	return []numberRow[e]{
		number(dcm("122130", "Dose Area Product"), kap(zeroValue), func(o *e) *quantity.Opt[quantity.GraySquareMetre] { return &o.KAP }),
		number(dcm("111634", "Half Value Layer"), length(), func(o *e) *quantity.Opt[quantity.Millimetre] { return &o.Technique.HalfValue }),
		number(dcm("111638", "Patient Equivalent Thickness"), length(), func(o *e) *quantity.Opt[quantity.Millimetre] { return &o.Technique.WaterEquiv }),
		number(dcm("113845", "Exposure Index"), plain("1", "1"), func(o *e) *quantity.Opt[float64] { return &o.Technique.ExposureIndex }),
		number(dcm("113846", "Target Exposure Index"), plain("1", "1"), func(o *e) *quantity.Opt[float64] { return &o.Technique.TargetIndex }),
		number(dcm("113847", "Deviation Index"), measure{unit: "1", inside: "1", sign: signed}, func(o *e) *quantity.Opt[float64] { return &o.Technique.Deviation }),
		number(dcm("113738", "Dose (RP)"), grays(zeroValue), func(o *e) *quantity.Opt[quantity.Gray] { return &o.RefKerma }),
	}
}

func eventTechnique() []numberRow[procedure.Event] {
	type e = procedure.Event
	voltage := measure{unit: "kV", inside: "kV", zero: zeroUnlikely, suspect: procedure.SuspectVoltage}
	area := measure{unit: "m2", inside: "m2", zero: zeroUnlikely, suspect: procedure.SuspectField}
	side := measure{unit: "mm", inside: "mm", zero: zeroUnlikely, suspect: procedure.SuspectField}
	return []numberRow[e]{
		number(dcm("113791", "Pulse Rate"), plain("{pulse}/s", "/s"), func(o *e) *quantity.Opt[quantity.PerSecond] { return &o.Technique.PulseRate }),
		number(conceptPulses(), plain("1", "1"), func(o *e) *quantity.Opt[float64] { return &o.Technique.Pulses }),
		numbers(dcm("113793", "Pulse Width"), plain("ms", "s"), func(o *e) *[]quantity.Second { return &o.Technique.PulseWidths }),
		number(dcm("113742", "Irradiation Duration"), plain("s", "s"), func(o *e) *quantity.Opt[quantity.Second] { return &o.Technique.Duration }),
		numbers(dcm("113733", "KVP"), voltage, func(o *e) *[]quantity.Kilovolt { return &o.Technique.Voltages }),
		numbers(dcm("113734", "X-Ray Tube Current"), plain("mA", "mA"), func(o *e) *[]quantity.Milliampere { return &o.Technique.Currents }),
		number(dcm("113767", "Average X-Ray Tube Current"), plain("mA", "mA"), func(o *e) *quantity.Opt[quantity.Milliampere] { return &o.Technique.MeanCurrent }),
		number(conceptExposureTime(), plain("ms", "s"), func(o *e) *quantity.Opt[quantity.Second] { return &o.Technique.ExposureTime }),
		numbers(dcm("113736", "Exposure"), plain("uA.s", "mA.s"), func(o *e) *[]quantity.MilliampereSecond { return &o.Technique.Exposures }),
		number(dcm("113766", "Focal Spot Size"), length(), func(o *e) *quantity.Opt[quantity.Millimetre] { return &o.Technique.FocalSpot }),
		number(dcm("113790", "Collimated Field Area"), area, func(o *e) *quantity.Opt[quantity.SquareMetre] { return &o.Field.Area }),
		number(dcm("113788", "Collimated Field Height"), side, func(o *e) *quantity.Opt[quantity.Millimetre] { return &o.Field.Height }),
		number(dcm("113789", "Collimated Field Width"), side, func(o *e) *quantity.Opt[quantity.Millimetre] { return &o.Field.Width }),
	}
}

func eventMechanics() []numberRow[procedure.Event] {
	type (
		e = procedure.Event
		d = quantity.Opt[quantity.Degree]
		l = quantity.Opt[quantity.Millimetre]
	)
	return []numberRow[e]{
		number(dcm("112011", "Positioner Primary Angle"), angle(), func(o *e) *d { return &o.Mechanics.Primary }),
		number(dcm("112012", "Positioner Secondary Angle"), angle(), func(o *e) *d { return &o.Mechanics.Secondary }),
		number(dcm("113739", "Positioner Primary End Angle"), angle(), func(o *e) *d { return &o.Mechanics.PrimaryEnd }),
		number(dcm("113740", "Positioner Secondary End Angle"), angle(), func(o *e) *d { return &o.Mechanics.SecondaryEnd }),
		number(dcm("113770", "Column Angulation"), angle(), func(o *e) *d { return &o.Mechanics.Column }),
		number(dcm("128759", "Positioner Isocenter Detector Rotation Angle"), tableAngle(), func(o *e) *d { return &o.Mechanics.DetectorRotation }),
		number(dcm("113754", "Table Head Tilt Angle"), tableAngle(), func(o *e) *d { return &o.Mechanics.TableHeadTilt }),
		number(dcm("113755", "Table Horizontal Rotation Angle"), tableAngle(), func(o *e) *d { return &o.Mechanics.TableRotation }),
		number(dcm("113756", "Table Cradle Tilt Angle"), tableAngle(), func(o *e) *d { return &o.Mechanics.TableCradleTilt }),
		number(dcm("111633", "Compression Thickness"), length(), func(o *e) *l { return &o.Mechanics.Compression }),
		number(dcm("113748", "Distance Source to Isocenter"), distance(), func(o *e) *l { return &o.Mechanics.SourceToIsocentre }),
		number(dcm("113737", "Distance Source to Reference Point"), distance(), func(o *e) *l { return &o.Mechanics.SourceToReference }),
		number(dcm("113750", "Distance Source to Detector"), distance(), func(o *e) *l { return &o.Mechanics.SourceToDetector }),
		number(dcm("113792", "Distance Source to Table Plane"), distance(), func(o *e) *l { return &o.Mechanics.SourceToTable }),
		number(dcm("113751", "Table Longitudinal Position"), position(), func(o *e) *l { return &o.Mechanics.TableLongitudinal }),
		number(dcm("113752", "Table Lateral Position"), position(), func(o *e) *l { return &o.Mechanics.TableLateral }),
		number(dcm("113753", "Table Height Position"), position(), func(o *e) *l { return &o.Mechanics.TableHeight }),
		number(dcm("113759", "Table Longitudinal End Position"), position(), func(o *e) *l { return &o.Mechanics.TableLongitudinalEnd }),
		number(dcm("113760", "Table Lateral End Position"), position(), func(o *e) *l { return &o.Mechanics.TableLateralEnd }),
		number(dcm("113761", "Table Height End Position"), position(), func(o *e) *l { return &o.Mechanics.TableHeightEnd }),
		number(dcm("128766", "Table X Position to Isocenter"), position(), func(o *e) *l { return &o.Mechanics.TableX }),
		number(dcm("128767", "Table Y Position to Isocenter"), position(), func(o *e) *l { return &o.Mechanics.TableY }),
		number(dcm("128768", "Table Z Position to Isocenter"), position(), func(o *e) *l { return &o.Mechanics.TableZ }),
		number(dcm("128769", "Table X End Position to Isocenter"), position(), func(o *e) *l { return &o.Mechanics.TableXEnd }),
		number(dcm("128770", "Table Y End Position to Isocenter"), position(), func(o *e) *l { return &o.Mechanics.TableYEnd }),
		number(dcm("128771", "Table Z End Position to Isocenter"), position(), func(o *e) *l { return &o.Mechanics.TableZEnd }),
	}
}

// filterNumbers are the NUM rows inside X-Ray Filters (TID 10003B rows 21 and 22). Zero means no such metal.
func filterNumbers() []numberRow[procedure.Filter] {
	type f = procedure.Filter
	return []numberRow[f]{
		number(dcm("113758", "X-Ray Filter Thickness Minimum"), plainZero("mm", "mm"), func(o *f) *quantity.Opt[quantity.Millimetre] { return &o.Min }),
		number(dcm("113773", "X-Ray Filter Thickness Maximum"), plainZero("mm", "mm"), func(o *f) *quantity.Opt[quantity.Millimetre] { return &o.Max }),
	}
}
