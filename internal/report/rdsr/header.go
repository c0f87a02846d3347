package rdsr

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/notebook"
)

// header reads what stands outside the content tree: zone, device, times, study and patient.
func (r *reader) header() {
	if text := strings.TrimSpace(r.set.Text(tagZoneOffset)); text != "" {
		zone, ok := offset(text)
		if !ok {
			r.notes.Addf("zone-offset", procedure.Reduced, named("Timezone Offset From UTC"), "%s found, a form like +0100 expected; left out", shown(text))
		}
		r.clock.dataSet = zone
	}
	r.clock.site = r.opt.Site
	r.observers()
	r.headerDevice()
	if r.opt.DeviceZone != nil {
		r.clock.device = r.opt.DeviceZone(r.report.Device)
	}
	r.report.Content = r.headerMoment(tagContentDate, tagContentTime, "Content Date and Time")
	r.study()
	r.patient()
	r.report.Complete = r.set.Text(tagCompletion) == "COMPLETE"
	r.report.Verified = r.set.Text(tagVerification) == "VERIFIED"
}

// named is the place of an attribute of the header.
func named(item string) notebook.Place { return notebook.Place{Item: item} }

func (r *reader) headerMoment(date, timeOfDay dicomio.Tag, name string) procedure.Moment {
	day := r.set.Text(date)
	if strings.TrimSpace(day) == "" {
		return procedure.Moment{}
	}
	m, ok := r.clock.dateAndTime(day, r.set.Text(timeOfDay))
	if !ok {
		r.notes.Addf("moment-malformed", procedure.Reduced, named(name), "a date like 20250131 and a time like 134500 expected; left out")
	}
	return m
}

// headerDevice fills what the device observer left open from the equipment attributes. The serial number is taken only
// when no observer names the device, since the header may be that of a recording system.
func (r *reader) headerDevice() {
	d := &r.report.Device
	fill := func(at *string, tag dicomio.Tag) {
		if *at == "" {
			*at = strings.TrimSpace(r.set.Text(tag))
		}
	}
	if d.UID == "" && d.Serial == "" {
		fill(&d.Serial, tagSerial)
	}
	fill(&d.Manufacturer, tagManufacturer)
	fill(&d.Model, tagModel)
	fill(&d.Station, tagStation)
	if e, ok := r.set.Find(tagSoftware); ok && d.Software == "" {
		d.Software = strings.Join(e.Values, "; ")
	}
	if d.Key() == "unknown device" {
		r.notes.Add("device-unknown", procedure.Reduced, notebook.Place{}, "neither device observer UID, serial number nor station name; the device is unknown")
	}
}

func (r *reader) study() {
	s := &r.report.Study
	s.Description = strings.TrimSpace(r.set.Text(tagStudyDescription))
	s.AccessionNumber = strings.TrimSpace(r.set.Text(tagAccession))
	s.Institution = strings.TrimSpace(r.set.Text(tagInstitution))
	s.Date = r.headerMoment(tagStudyDate, tagStudyTime, "Study Date and Time")
	for _, tag := range []dicomio.Tag{tagProcedureCodes, tagPerformedCodes} {
		s.ProcedureCodes = addCodes(s.ProcedureCodes, r.set, tag)
	}
	s.Performed = strings.TrimSpace(r.set.Text(tagStepDescription))
	if s.Performed == "" {
		s.Performed = strings.TrimSpace(r.set.Text(tagRequestedProcedure))
	}
	for _, request := range r.set.Items(tagReferencedRequest) {
		s.ProcedureCodes = addCodes(s.ProcedureCodes, request, tagRequestedCodes)
		if s.Performed == "" {
			s.Performed = strings.TrimSpace(request.Text(tagRequestedProcedure))
		}
	}
}

// headerPersons adds the performing physicians and the operators that the header names (PS3.3 C.7.3.1) and the content does
// not.
func (r *reader) headerPersons() {
	for _, row := range []struct {
		tag  dicomio.Tag
		role procedure.Code
	}{
		{tagPerformingName, dcm("121094", "Performing")},
		{tagOperatorsName, dcm("113851", "Irradiation Administering")},
	} {
		e, _ := r.set.Find(row.tag)
		for _, name := range e.Values {
			name = strings.TrimSpace(name)
			named := func(p procedure.Person) bool { return p.Name == name }
			if name != "" && !slices.ContainsFunc(r.report.Persons, named) {
				r.report.Persons = append(r.report.Persons, procedure.Person{Name: name, RoleInProcedure: row.role})
			}
		}
	}
}

// addCodes appends the codes of a sequence that are not listed yet.
func addCodes(list []procedure.Code, set dicomio.DataSet, tag dicomio.Tag) []procedure.Code {
next:
	for _, sub := range set.Items(tag) {
		c := readCode(sub)
		if c.IsZero() {
			continue
		}
		for _, have := range list {
			if identity(have) == identity(c) {
				continue next
			}
		}
		list = append(list, c)
	}
	return list
}

func (r *reader) patient() {
	p := &r.report.Patient
	p.ID = strings.TrimSpace(r.set.Text(tagPatientID))
	p.Issuer = strings.TrimSpace(r.set.Text(tagIssuer))
	p.Name = strings.TrimSpace(r.set.Text(tagPatientName))
	if birth, ok := (clock{site: time.UTC}).dateAndTime(r.set.Text(tagBirthDate), ""); ok {
		p.BirthDate = birth.Time.Format(time.DateOnly)
	} else if strings.TrimSpace(r.set.Text(tagBirthDate)) != "" {
		r.notes.Add("moment-malformed", procedure.Reduced, named("Patient's Birth Date"), "a date like 19500131 expected; left out")
	}
	switch sex := strings.TrimSpace(r.set.Text(tagSex)); sex {
	case "M", "F", "O", "":
		p.Sex = sex
	default:
		r.notes.Add("patient-sex", procedure.Note, named("Patient's Sex"), "M, F or O expected; left out")
	}
	r.size()
	r.pregnancy()
}

// Bounds of what a person can have; outside them the value counts as absent. Source: common practice, no source.
const (
	shortest, tallest  = 0.30, 2.20 // m
	lightest, heaviest = 0.5, 350.0 // kg
	leanest, stoutest  = 10.0, 80.0 // kg/m2
	oldest             = 130.0      // years
)

const (
	daysPerYear   = 365.2425 // Gregorian calendar
	weeksPerYear  = daysPerYear / 7
	monthsPerYear = 12
	ageTolerance  = 1.5 // years between (0010,1010), which is whole, and the birth date
)

const (
	sizeRule         = "patient-size"
	outsideOfAnybody = "outside what a person can have (%s); taken as absent"
)

// size reads height (m) and weight (kg), PS3.3 C.7.2.2. The values themselves stay out of the Findings.
func (r *reader) size() {
	height, okHeight := r.bounded(tagHeight, "Patient's Size", "30 to 220 cm", shortest, tallest)
	weight, okWeight := r.bounded(tagWeight, "Patient's Weight", "0.5 to 350 kg", lightest, heaviest)
	if okHeight && okWeight {
		if index := weight / (height * height); index < leanest || index > stoutest {
			r.notes.Addf(sizeRule, procedure.Reduced, named("Patient's Size and Weight"), outsideOfAnybody, "BMI 10 to 80")
			return
		}
	}
	if okHeight {
		r.report.Patient.Height = quantity.Some(quantity.Millimetre(height) * quantity.Metre)
	}
	if okWeight {
		r.report.Patient.Weight = quantity.Some(quantity.Kilogram(weight))
	}
}

func (r *reader) bounded(tag dicomio.Tag, name, bounds string, low, high float64) (float64, bool) {
	text := strings.TrimSpace(r.set.Text(tag))
	if text == "" {
		return 0, false
	}
	v, ok := decimal(text)
	if !ok {
		r.notes.Add("number-malformed", procedure.Reduced, named(name), "a decimal number expected; the value is absent")
		return 0, false
	}
	if v < low || v > high {
		r.notes.Addf(sizeRule, procedure.Reduced, named(name), outsideOfAnybody, bounds)
		return 0, false
	}
	return v, true
}

func (r *reader) pregnancy() {
	text := strings.TrimSpace(r.set.Text(tagPregnancy))
	if text == "" {
		return
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > 4 {
		r.notes.Add("pregnancy-status", procedure.Note, named("Pregnancy Status"), "1, 2, 3 or 4 expected; left out")
		return
	}
	r.report.Patient.Pregnancy = n
}

// age gives the patient's age at the procedure: from the birth date where a date is known, else as written in
// (0010,1010).
func (r *reader) age() {
	written, okWritten := r.writtenAge()
	at := r.started()
	birth, err := time.Parse(time.DateOnly, r.report.Patient.BirthDate)
	if err != nil || at.IsZero() {
		if okWritten {
			r.report.Patient.AgeYears = quantity.Some(written)
		}
		return
	}
	day, _ := time.Parse(time.DateOnly, at.LocalDate())
	years := day.Sub(birth).Hours() / 24 / daysPerYear
	if years < 0 || years > oldest {
		r.notes.Add("patient-age", procedure.Reduced, named("Patient's Age"), "the birth date gives no possible age at the procedure")
		if okWritten {
			r.report.Patient.AgeYears = quantity.Some(written)
		}
		return
	}
	if okWritten && math.Abs(years-written) > ageTolerance {
		r.notes.Add("patient-age", procedure.Reduced, named("Patient's Age"), "age as written and age by birth date differ; that by birth date is taken")
	}
	r.report.Patient.AgeYears = quantity.Some(years)
}

// writtenAge reads an age string such as 018M (PS3.5 AS).
func (r *reader) writtenAge() (float64, bool) {
	text := strings.TrimSpace(r.set.Text(tagAge))
	if text == "" {
		return 0, false
	}
	if len(text) == 4 && digits(text[:3]) {
		n, _ := strconv.Atoi(text[:3])
		perYear := map[byte]float64{'D': daysPerYear, 'W': weeksPerYear, 'M': monthsPerYear, 'Y': 1}[text[3]]
		if perYear > 0 && float64(n)/perYear <= oldest {
			return float64(n) / perYear, true
		}
	}
	r.notes.Add("patient-age", procedure.Reduced, named("Patient's Age"), "an age like 045Y expected; left out")
	return 0, false
}
