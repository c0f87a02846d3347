package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func conceptTotals() procedure.Code      { return dcm("113702", "Accumulated X-Ray Dose Data") }
func conceptCalibration() procedure.Code { return dcm("122505", "Calibration") }
func conceptCalibrated() procedure.Code  { return dcm("113723", "Calibration DateTime") }

// totalNumbers are the NUM rows of TID 10004, 10006 and 10007.
func totalNumbers() []numberRow[procedure.PlaneTotal] {
	type (
		t    = procedure.PlaneTotal
		area = quantity.Opt[quantity.GraySquareMetre]
		dose = quantity.Opt[quantity.Gray]
		span = quantity.Opt[quantity.Second]
	)
	return []numberRow[t]{
		number(dcm("113722", "Dose Area Product Total"), kap(zeroValue), func(o *t) *area { return &o.KAP }),
		number(dcm("113725", "Dose (RP) Total"), grays(zeroValue), func(o *t) *dose { return &o.RefKerma }),
		number(dcm("113726", "Fluoro Dose Area Product Total"), kap(zeroValue), func(o *t) *area { return &o.FluoroKAP }),
		number(dcm("113728", "Fluoro Dose (RP) Total"), grays(zeroValue), func(o *t) *dose { return &o.FluoroKerma }),
		number(dcm("113730", "Total Fluoro Time"), plainZero("s", "s"), func(o *t) *span { return &o.FluoroTime }),
		number(dcm("113727", "Acquisition Dose Area Product Total"), kap(zeroValue), func(o *t) *area { return &o.AcquisitionKAP }),
		number(dcm("113729", "Acquisition Dose (RP) Total"), grays(zeroValue), func(o *t) *dose { return &o.AcquisitionKerma }),
		number(dcm("113855", "Total Acquisition Time"), plainZero("s", "s"), func(o *t) *span { return &o.AcquisitionTime }),
		number(dcm("113737", "Distance Source to Reference Point"), distance(), func(o *t) *quantity.Opt[quantity.Millimetre] { return &o.SourceToReference }),
		number(dcm("113731", "Total Number of Radiographic Frames"), plainZero("1", "1"), func(o *t) *quantity.Opt[float64] { return &o.Frames }),
	}
}

// totalCodes are the CODE rows of TID 10002 and 10006.
func totalCodes() []codedRow[procedure.PlaneTotal] {
	type t = procedure.PlaneTotal
	return []codedRow[t]{
		enumerated(conceptPlane(), planes(), procedure.PlaneUnknown, func(o *t) *procedure.Plane { return &o.Plane }),
		coded(dcm("113947", "Detector Type"), func(o *t) *procedure.Code { return &o.DetectorKind }),
	}
}

// Rows of the calibration container (TID 10002 rows 4 to 9).
func calibrationNumbers() []numberRow[procedure.Calibration] {
	type c = procedure.Calibration
	return []numberRow[c]{
		number(dcm("122322", "Calibration Factor"), plain("1", "1"), func(o *c) *quantity.Opt[float64] { return &o.Factor }),
		number(dcm("113763", "Calibration Uncertainty"), plainZero("%", "%"), func(o *c) *quantity.Opt[quantity.Percent] { return &o.Uncertainty }),
	}
}

func calibrationCodes() []codedRow[procedure.Calibration] {
	type c = procedure.Calibration
	return []codedRow[c]{
		coded(dcm("113794", "Dose Measurement Device"), func(o *c) *procedure.Code { return &o.Device }),
	}
}

func calibrationTexts() []textRow[procedure.Calibration] {
	type c = procedure.Calibration
	return []textRow[c]{
		{dcm("113724", "Calibration Responsible Party"), "TEXT", func(o *c) *string { return &o.Responsible }},
		{dcm("113720", "Calibration Protocol"), "TEXT", func(o *c) *string { return &o.Protocol }},
	}
}
