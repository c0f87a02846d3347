package rdsr

import "afterbeam/internal/procedure"

func conceptReport() procedure.Code     { return dcm("113701", "X-Ray Radiation Dose Report") }
func conceptProcedure() procedure.Code  { return dcm("121058", "Procedure reported") }
func conceptIntent() procedure.Code     { return sct("363703001", "Has Intent") }
func conceptScope() procedure.Code      { return dcm("113705", "Scope of Accumulation") }
func conceptSource() procedure.Code     { return dcm("113854", "Source of Dose Information") }
func conceptDoseImage() procedure.Code  { return dcm("121342", "Dose Image") }
func conceptDeviceKind() procedure.Code { return dcm("122142", "Acquisition Device Type") }
func projectionXRay() procedure.Code    { return dcm("113704", "Projection X-Ray") }

// rootCodes are the CODE rows of TID 10001.
func rootCodes() []codedRow[procedure.Report] {
	type p = procedure.Report
	return []codedRow[p]{
		coded(conceptDeviceKind(), func(o *p) *procedure.Code { return &o.DeviceKind }),
		enumerated(conceptScope(), scopes(), procedure.ScopeUnknown, func(o *p) *procedure.Scope { return &o.Scope }),
		available(dcm("113945", "X-Ray Detector Data Available"), func(o *p) *procedure.Availability { return &o.DetectorData }),
		available(dcm("113943", "X-Ray Source Data Available"), func(o *p) *procedure.Availability { return &o.SourceData }),
		available(dcm("113944", "X-Ray Mechanical Data Available"), func(o *p) *procedure.Availability { return &o.MechanicalData }),
		codedList(conceptSource(), func(o *p) *[]procedure.Code { return &o.Sources }),
	}
}

// available is a row of CID 230. An undetermined answer is written as none.
func available(concept procedure.Code, at func(*procedure.Report) *procedure.Availability) codedRow[procedure.Report] {
	row := enumerated(concept, availabilities(), procedure.AvailabilityUnsaid, at)
	get := row.get
	row.get = func(o *procedure.Report) []procedure.Code {
		if *at(o) == procedure.AvailabilityUnsaid {
			return nil
		}
		return get(o)
	}
	return row
}

// rootTexts are the TEXT rows of TID 10001.
func rootTexts() []textRow[procedure.Report] {
	return []textRow[procedure.Report]{
		{conceptComment(), "TEXT", func(o *procedure.Report) *string { return &o.Comment }},
	}
}

// filterCodes are the CODE rows inside X-Ray Filters.
func filterCodes() []codedRow[procedure.Filter] {
	type f = procedure.Filter
	material := coded(conceptFilterMaterial(), func(o *f) *procedure.Code { return &o.Material })
	material.set = func(o *f, c procedure.Code) bool {
		o.Material = c
		metal, ok := valueOf(metals(), c)
		o.Metal = metal
		return ok
	}
	material.get = func(o *f) []procedure.Code {
		if !o.Material.IsZero() {
			return []procedure.Code{o.Material}
		}
		if c, ok := codeOf(metals(), o.Metal); ok {
			return []procedure.Code{c}
		}
		return nil
	}
	return []codedRow[f]{
		enumerated(conceptFilterType(), filterTypes(), procedure.FilterUnknown, func(o *f) *procedure.FilterType { return &o.Type }),
		material,
	}
}
