package effective

import (
	"slices"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

const (
	regionCardiac = "cardiac"
	regionPelvis  = "pelvis"
	regionUnknown = "unknown"
)

// Regions lists the dose regions that a procedure or an event can have, in the order that parts are listed.
func Regions() []string {
	return []string{
		"head_neuro", "neck_carotid", regionCardiac, "thoracic_aorta", "abdomen_aorta", "hepatic_biliary", regionPelvis,
		"lower_limb", regionUnknown,
	}
}

// doseRegion gives a region that the table knows.
func doseRegion(region string) string {
	if slices.Contains(Regions(), region) {
		return region
	}
	return regionUnknown
}

// regionOf gives an event's own region where one is told, else that of the procedure.
func regionOf(in Input, ev procedure.Event) string {
	if in.EventRegion != nil {
		if region, ok := in.EventRegion(ev); ok {
			return doseRegion(region)
		}
	}
	return doseRegion(in.Region)
}

// person is what of a patient decides the coefficient.
type person struct {
	age   quantity.Opt[float64]
	sex   string
	notes []string
}

func personOf(in Input) person {
	p := person{sex: in.Facts.Sex}
	if p.sex == "" {
		p.sex = in.Procedure.Patient.Sex
	}
	for _, age := range []quantity.Opt[float64]{in.Facts.AgeYears, in.Procedure.AgeYears()} {
		// An age of more than 130 years is a slip of the keyboard. Judgement.
		if years, ok := age.Get(); ok && years >= 0 && years <= 130 {
			p.age = age
			return p
		}
	}
	p.notes = append(p.notes, "age unknown: counted as an adult")
	return p
}

// row chooses the line of the table for a share, or says why there is none.
func (p person) row(s share) (Row, string) {
	cardiac := s.region == regionCardiac
	if years, ok := p.age.Get(); ok && years < adultFrom {
		if !cardiac {
			return Row{}, "no coefficient for children under 16 years outside the heart"
		}
		return forAge(years), ""
	}
	if mm, ok := s.copper.Get(); cardiac && ok {
		return forCopper(mm), ""
	}
	region := s.region
	if region == regionPelvis {
		switch p.sex {
		case "M":
			region = "pelvis_male"
		case "F":
			region = "pelvis_female"
		}
	}
	line, ok := plainRow(region)
	if !ok {
		return Row{}, "no coefficient for the region " + region
	}
	return line, ""
}

// copperOf gives the added copper of a beam by the filters an event lists; absent when it lists none or one that cannot
// be read. Strip, wedge and butterfly filters shade a part of the field and say nothing of the spectrum. The second
// result tells that no filter of the list is copper, so that none was counted.
func copperOf(filters []procedure.Filter) (quantity.Opt[quantity.Millimetre], bool) {
	unknown := quantity.None[quantity.Millimetre]()
	var sum quantity.Millimetre
	flat, copper, said := false, false, false
	for _, f := range filters {
		switch f.Type {
		case procedure.FilterNone:
			said = true
			continue
		case procedure.FilterStrip, procedure.FilterWedge, procedure.FilterButterfly:
			continue
		case procedure.FilterFlat, procedure.FilterUnknown:
		}
		flat = true
		switch f.Metal {
		case procedure.Aluminium:
		case procedure.Copper:
			mm, ok := thickness(f)
			if !ok {
				return unknown, false
			}
			copper = true
			sum += mm
		default: // a metal that the published rows were not made with, or an unknown one
			return unknown, false
		}
	}
	if !flat && !said {
		return unknown, false
	}
	return quantity.Some(sum), !copper && !said
}

// thickest is the thickest copper filter that is believed, in mm; judgement: none of a fluoroscope is built thicker.
const thickest = 3

// thickness gives the mean of a copper filter's least and greatest thickness, or the one that is given.
func thickness(f procedure.Filter) (quantity.Millimetre, bool) {
	low, okLow := f.Min.Get()
	high, okHigh := f.Max.Get()
	if !okLow {
		low = high
	}
	if !okHigh {
		high = low
	}
	mean := (low + high) / 2
	return mean, (okLow || okHigh) && mean >= 0 && mean <= thickest
}

// filterText says which filtration the line of a share is for.
func filterText(s share, line Row) string {
	if s.region != regionCardiac || line.Age.Present() {
		return "not distinguished"
	}
	mm, ok := line.Copper.Get()
	switch {
	case !ok:
		return "unknown"
	case mm == 0:
		return "no added copper"
	}
	return quantity.Significant(float64(mm), 2) + " mm Cu"
}
