package fhir

import (
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// total is one quantity over the planes of a procedure.
type total struct {
	code       Concept
	unit, name string
	// value is in the unit; missing names the planes that lack it. Without both nothing was reported.
	value   quantity.Opt[float64]
	missing []string
}

// totalsOf gives what the equipment totals over the planes, in the units of the guide's example.
// Source of the codes: HL7 hl7.fhir.uv.radiation-dose-summary 1.0.0, component value set; read. Names: DICOM PS3.16 annex D.
func totalsOf(planes []procedure.PlaneTotal) []total {
	type p = procedure.PlaneTotal
	kap := func(of func(p) quantity.Opt[quantity.GraySquareMetre]) func(p) quantity.Opt[float64] {
		return func(t p) quantity.Opt[float64] { return in(of(t), quantity.GraySquareCentimetre*1e-3) }
	}
	all := []struct {
		code, display, unit, name string
		part                      procedure.Suspicion
		of                        func(p) quantity.Opt[float64]
	}{
		{"113725", "Dose (RP) Total", unitMGy, "mGy", procedure.SuspectKerma, func(t p) quantity.Opt[float64] { return in(t.RefKerma, quantity.MilliGray) }},
		{
			"113722", "Dose Area Product Total", unitMGyCm2, "mGy.cm2", procedure.SuspectKAP,
			kap(func(t p) quantity.Opt[quantity.GraySquareMetre] { return t.KAP }),
		},
		{
			"113726", "Fluoro Dose Area Product Total", unitMGyCm2, "mGy.cm2", 0,
			kap(func(t p) quantity.Opt[quantity.GraySquareMetre] { return t.FluoroKAP }),
		},
		{
			"113727", "Acquisition Dose Area Product Total", unitMGyCm2, "mGy.cm2", 0,
			kap(func(t p) quantity.Opt[quantity.GraySquareMetre] { return t.AcquisitionKAP }),
		},
		{"113730", "Total Fluoro Time", unitSecond, "s", 0, func(t p) quantity.Opt[float64] { return in(t.FluoroTime, 1) }},
		{"113731", "Total Number of Radiographic Frames", unitPlain, "frames", 0, func(t p) quantity.Opt[float64] { return t.Frames }},
	}
	var list []total
	for _, one := range all {
		t := total{code: dcm(one.code, one.display), unit: one.unit, name: one.name}
		t.value, t.missing = overPlanes(planes, one.of, one.part)
		if t.value.Present() || len(t.missing) > 0 {
			list = append(list, t)
		}
	}
	return list
}

// in gives a quantity in a unit of a size.
func in[T ~float64](o quantity.Opt[T], size T) quantity.Opt[float64] {
	v, ok := o.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(float64(v) / float64(size))
}

// overPlanes adds a total up. One over all planes stands for the others; one that leaves out a part, or that a plane lacks,
// makes the sum unknown, and the planes are named.
func overPlanes(planes []procedure.PlaneTotal, of func(procedure.PlaneTotal) quantity.Opt[float64], part procedure.Suspicion) (sum quantity.Opt[float64], missing []string) {
	added, some := 0.0, false
	for _, t := range planes {
		v, ok := of(t).Get()
		whole := ok && (part == 0 || !t.Partial.Has(part))
		if t.Plane == procedure.PlaneAll {
			if whole {
				return quantity.Some(v), nil
			}
			continue
		}
		some = some || ok
		added += v
		if !whole {
			missing = append(missing, t.Plane.String())
		}
	}
	if !some {
		return quantity.None[float64](), nil
	}
	if len(missing) > 0 {
		return quantity.None[float64](), missing
	}
	return quantity.Some(added), nil
}

// component tells the total, or why there is none.
func (t total) component() Component {
	if v, ok := t.value.Get(); ok {
		if printed, ok := reported(v); ok {
			return Component{Code: t.code, ValueQuantity: quantityOf(printed, t.unit, t.name)}
		}
	}
	return Component{Code: t.code, DataAbsentReason: absent("unknown", "no total, or one of a part alone, for "+strings.Join(t.missing, ", "))}
}
