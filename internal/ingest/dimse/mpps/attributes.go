package mpps

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

// The attributes of a step that are read (PS3.4 table F.7.2-1, PS3.3 C.4.13 to C.4.17).
const (
	tagAccession          dicomio.Tag = 0x00080050
	tagModality           dicomio.Tag = 0x00080060
	tagCodeValue          dicomio.Tag = 0x00080100
	tagCodingScheme       dicomio.Tag = 0x00080102
	tagCodeMeaning        dicomio.Tag = 0x00080104
	tagProcedureCode      dicomio.Tag = 0x00081032
	tagPerformingName     dicomio.Tag = 0x00081050
	tagOperatorName       dicomio.Tag = 0x00081070
	tagPatientName        dicomio.Tag = 0x00100010
	tagPatientID          dicomio.Tag = 0x00100020
	tagIssuer             dicomio.Tag = 0x00100021
	tagBirthDate          dicomio.Tag = 0x00100030
	tagSex                dicomio.Tag = 0x00100040
	tagSize               dicomio.Tag = 0x00101020
	tagWeight             dicomio.Tag = 0x00101030
	tagSourceDetector     dicomio.Tag = 0x00181110
	tagAreaDoseProduct    dicomio.Tag = 0x0018115E
	tagStudyUID           dicomio.Tag = 0x0020000D
	tagStationTitle       dicomio.Tag = 0x00400241
	tagStationName        dicomio.Tag = 0x00400242
	tagLocation           dicomio.Tag = 0x00400243
	tagStartDate          dicomio.Tag = 0x00400244
	tagStartTime          dicomio.Tag = 0x00400245
	tagEndDate            dicomio.Tag = 0x00400250
	tagEndTime            dicomio.Tag = 0x00400251
	tagStatus             dicomio.Tag = 0x00400252
	tagDescription        dicomio.Tag = 0x00400254
	tagTypeDescription    dicomio.Tag = 0x00400255
	tagScheduled          dicomio.Tag = 0x00400270
	tagDiscontinuedReason dicomio.Tag = 0x00400281
	tagFluoroscopyTime    dicomio.Tag = 0x00400300
	tagSourceEntrance     dicomio.Tag = 0x00400306
	tagSeries             dicomio.Tag = 0x00400340
	tagEntranceDoseMGy    dicomio.Tag = 0x00408302
)

// writer writes the attributes of a data set into a step.
type writer struct {
	step *performed.Step
	set  dicomio.DataSet
	site *time.Location
}

// text writes the first of the attributes that has a value.
func (w writer) text(to *string, tags ...dicomio.Tag) {
	for _, tag := range tags {
		if v := strings.TrimSpace(w.set.Text(tag)); v != "" {
			*to = v
			return
		}
	}
}

func (w writer) patient() {
	p := &w.step.Patient
	w.text(&p.Number, tagPatientID)
	w.text(&p.Issuer, tagIssuer)
	w.text(&p.Name, tagPatientName)
	if d, err := time.Parse("20060102", strings.TrimSpace(w.set.Text(tagBirthDate))); err == nil {
		p.BirthDate = d.Format(time.DateOnly)
	}
	if sex := strings.TrimSpace(w.set.Text(tagSex)); slices.Contains([]string{"M", "F", "O"}, sex) {
		p.Sex = sex
	}
}

// course writes how far the step came, when and where.
func (w writer) course() {
	var state string
	w.text(&state, tagStatus)
	if state != "" {
		w.step.State = performed.State(state)
	}
	w.moment(&w.step.Start, tagStartDate, tagStartTime)
	w.moment(&w.step.End, tagEndDate, tagEndTime)
	w.text(&w.step.Station, tagStationName, tagStationTitle)
	w.text(&w.step.Room, tagLocation)
	if reasons := w.set.Items(tagDiscontinuedReason); len(reasons) > 0 {
		w.step.Reason = strings.TrimSpace(reasons[0].Text(tagCodeMeaning))
	}
}

// moment reads a DA and a TM value, in the zone of the site: the module has no offset of its own.
func (w writer) moment(to *procedure.Moment, date, clock dicomio.Tag) {
	day, at := strings.TrimSpace(w.set.Text(date)), strings.TrimSpace(w.set.Text(clock))
	at, _, _ = strings.Cut(at, ".")
	for _, form := range []string{"20060102150405", "200601021504", "2006010215"} {
		if t, err := time.ParseInLocation(form, day+at, w.site); err == nil {
			*to = procedure.Moment{Time: t, Offset: procedure.OffsetOfSite}
			return
		}
	}
	if t, err := time.ParseInLocation("20060102", day, w.site); err == nil {
		*to = procedure.Moment{Time: t, Offset: procedure.OffsetOfSite, DateOnly: true}
	}
}

// what writes what was performed, for which study, and by whom.
func (w writer) what() {
	for _, item := range w.set.Items(tagScheduled) {
		of := writer{set: item}
		of.text(&w.step.StudyUID, tagStudyUID)
		of.text(&w.step.Accession, tagAccession)
		break // a step for several orders has one study (PS3.4 F.7.2.1.2)
	}
	w.text(&w.step.Description, tagDescription, tagTypeDescription)
	for _, item := range w.set.Items(tagProcedureCode) {
		w.step.Code = procedure.Code{Value: item.Text(tagCodeValue), Scheme: item.Text(tagCodingScheme), Meaning: item.Text(tagCodeMeaning)}
		break
	}
	if w.text(&w.step.Modality, tagModality); w.step.Modality != "" {
		w.step.Excluded = performed.NotExcluded
		if !slices.Contains(radiating(), w.step.Modality) {
			w.step.Excluded = performed.NotXRay
		}
	}
	w.operators()
}

// radiating lists the modalities whose steps bring a projection X-ray dose report (PS3.3 C.7.3.1.1.1).
func radiating() []string { return []string{"XA", "RF", "DX", "CR", "PX"} }

// operators writes the persons that the series name, each once.
func (w writer) operators() {
	series := w.set.Items(tagSeries)
	if len(series) == 0 {
		return
	}
	var all []procedure.Person
	for _, one := range series {
		for _, role := range []struct {
			tag  dicomio.Tag
			code procedure.Code
		}{
			{tagPerformingName, procedure.Code{Value: "121094", Scheme: "DCM", Meaning: "Performing"}},
			{tagOperatorName, procedure.Code{Value: "121099", Scheme: "DCM", Meaning: "Assisting"}},
		} {
			e, _ := one.Find(role.tag)
			for _, name := range e.Values {
				p := procedure.Person{Name: strings.TrimSpace(name), RoleInProcedure: role.code}
				if p.Name != "" && !slices.Contains(all, p) {
					all = append(all, p)
				}
			}
		}
	}
	if len(all) > 0 {
		w.step.Operators = all
	}
}

// number gives a decimal value, absent where there is none or what stands there is none.
func (w writer) number(tag dicomio.Tag) quantity.Opt[float64] {
	v, err := strconv.ParseFloat(strings.TrimSpace(w.set.Text(tag)), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return quantity.None[float64]()
	}
	return quantity.Some(v)
}

// facts writes height and weight, which steps give in m and kg.
func (w writer) facts() {
	if m, ok := w.number(tagSize).Get(); ok && m > 0 {
		w.step.Height = quantity.Some(quantity.Millimetre(m) * quantity.Metre)
	}
	if kg, ok := w.number(tagWeight).Get(); ok && kg > 0 {
		w.step.Weight = quantity.Some(quantity.Kilogram(kg))
	}
}

// totals writes the dose totals, when the data set has any: each in the unit of its attribute.
func (w writer) totals() {
	announced := performed.Announced{
		AreaDoseProduct: w.number(tagAreaDoseProduct), FluoroscopyTime: w.number(tagFluoroscopyTime), EntranceDose: w.number(tagEntranceDoseMGy),
		SourceToDetector: w.number(tagSourceDetector), SourceToEntrance: w.number(tagSourceEntrance),
	}
	if t, _ := announced.Totals(); !t.IsZero() { // what is odd about them stands in the totals
		w.step.Totals = t
	}
}
