package performed

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Column is one column that a table may have.
type Column struct {
	Name string
	// Form says what is expected in a cell, Meaning what it tells. An empty cell is not known.
	Form, Meaning string
}

type column struct {
	Column
	longest int
	set     func(b *builder, value string) bool
}

// Columns lists the columns that are read, for the documentation and for the head of a table.
func Columns() []Column {
	all := columns()
	out := make([]Column, len(all))
	for i, c := range all {
		out[i] = c.Column
	}
	return out
}

// builder puts the cells of a line together.
type builder struct {
	step     *Step
	opt      Options
	id       string
	operator procedure.Person
}

// Lengths are those of the DICOM attributes that carry the same: PS3.5 6.2.
const (
	longUID, longShort, longString, longName = 64, 16, 64, 324
)

func columns() []column {
	return slices.Concat(identityColumns(), stateColumns(), patientColumns(), factColumns())
}

func textColumn(name, meaning string, longest int, at func(*builder) *string) column {
	return column{
		Column{name, "text of " + strconv.Itoa(longest) + " characters at most", meaning},
		longest,
		func(b *builder, v string) bool { *at(b) = v; return true },
	}
}

func identityColumns() []column {
	return []column{
		textColumn("step_id", "the procedure's own number in the system the table is from, where one study has several", longString, func(b *builder) *string { return &b.id }),
		{Column{"study_uid", "a DICOM UID such as 2.25.17", "Study Instance UID"}, longUID, func(b *builder, v string) bool { b.step.StudyUID = v; return isUID(v) }},
		textColumn("accession_number", "number of the order", longShort, func(b *builder) *string { return &b.step.Accession }),
		{Column{"start", "a time like 2026-09-14T08:30 or 2026-09-14 08:30:00, with or without +02:00", "when the procedure began"}, longString, func(b *builder, v string) (ok bool) {
			b.step.Start, ok = moment(v, b.opt.Site)
			return ok
		}},
		{Column{"end", "a time like 2026-09-14T10:05", "when it ended"}, longString, func(b *builder, v string) (ok bool) {
			b.step.End, ok = moment(v, b.opt.Site)
			return ok
		}},
		textColumn("room", "the room, as the dose reports name it", longString, func(b *builder) *string { return &b.step.Room }),
		textColumn("station", "station name or application entity title of the equipment", longShort, func(b *builder) *string { return &b.step.Station }),
	}
}

func stateColumns() []column {
	return []column{
		{Column{"status", "completed, in progress or discontinued", "how far it came; completed where nothing is said"}, longString, func(b *builder, v string) bool {
			b.step.State = State(strings.ToUpper(v))
			return slices.Contains([]State{InProgress, Completed, Discontinued}, b.step.State)
		}},
		{Column{"excluded", "cancelled, not x-ray or no fluoroscopy", "why no dose report is to be expected; one is expected where nothing is said"}, longString, func(b *builder, v string) bool {
			b.step.Excluded = Exclusion(strings.ToLower(v))
			return slices.Contains(Exclusions(), b.step.Excluded)
		}},
		textColumn("procedure_code", "code of the procedure", longShort, func(b *builder) *string { return &b.step.Code.Value }),
		textColumn("procedure_code_scheme", "coding scheme of the code, such as SCT", longShort, func(b *builder) *string { return &b.step.Code.Scheme }),
		textColumn("procedure_description", "the procedure in words", longString, func(b *builder) *string { return &b.step.Description }),
		textColumn("operator", "name of who performed it", longName, func(b *builder) *string { return &b.operator.Name }),
		textColumn("operator_id", "number of that person", longString, func(b *builder) *string { return &b.operator.ID }),
		textColumn("operator_id_issuer", "whose number that is", longString, func(b *builder) *string { return &b.operator.Issuer }),
	}
}

func patientColumns() []column {
	return []column{
		textColumn("patient_id", "number of the patient", longString, func(b *builder) *string { return &b.step.Patient.Number }),
		textColumn("patient_id_issuer", "whose number that is", longString, func(b *builder) *string { return &b.step.Patient.Issuer }),
		{Column{"birth_date", "a date like 1950-01-31", "of the patient"}, longString, func(b *builder, v string) bool {
			d, err := time.Parse(time.DateOnly, v)
			if err != nil {
				d, err = time.Parse("20060102", v)
			}
			b.step.Patient.BirthDate = d.Format(time.DateOnly)
			return err == nil
		}},
		{Column{"sex", "M, F or O", "of the patient"}, longShort, func(b *builder, v string) bool {
			b.step.Patient.Sex = strings.ToUpper(v)
			return slices.Contains([]string{"M", "F", "O"}, b.step.Patient.Sex)
		}},
	}
}

// The bounds of height and weight are those within which a person's facts are believed; common practice, no source.
func factColumns() []column {
	return []column{
		{Column{"class", "a procedure class; afterbeam version --classes lists them", "class of the procedure"}, longString, func(b *builder, v string) bool {
			b.step.Class = v
			return b.opt.KnownClass != nil && b.opt.KnownClass(v)
		}},
		{Column{"height_cm", "a number of 30 to 220", "height of the patient in cm"}, longShort, func(b *builder, v string) bool {
			x, ok := number(v, 30, 220)
			b.step.Height = quantity.Some(quantity.Millimetre(x) * quantity.Centimetre)
			return ok
		}},
		{Column{"weight_kg", "a number of 0.5 to 350", "weight of the patient in kg"}, longShort, func(b *builder, v string) bool {
			x, ok := number(v, 0.5, 350)
			b.step.Weight = quantity.Some(quantity.Kilogram(x))
			return ok
		}},
	}
}

// finish checks what concerns several cells and gives the step its key. why is "" when all is well.
func (b *builder) finish() (where, why string) {
	s := b.step
	switch {
	case s.Start.IsZero():
		return "column start", "expected a time, the cell is empty"
	case !s.End.IsZero() && s.End.Time.Before(s.Start.Time):
		return "column end", "expected a time that is not before the start"
	case s.Code.Value == "" && s.Code.Scheme != "":
		return "column procedure_code", "expected a code beside its scheme"
	case s.Code.Value != "" && s.Code.Scheme == "":
		return "column procedure_code_scheme", "expected the scheme of the code, such as SCT"
	}
	if b.operator != (procedure.Person{}) {
		b.operator.RoleInProcedure = procedure.Code{Value: "121094", Scheme: "DCM", Meaning: "Performing"}
		s.Operators = []procedure.Person{b.operator}
	}
	if b.id != "" {
		b.id = "id " + b.id
	}
	if s.Key = cmp.Or(b.id, KeyOf(*s)); s.Key == "" {
		return "line", "expected one of study_uid, accession_number and patient_id"
	}
	return "", ""
}

// moment reads a local time, or one with an offset. The years are those in which such a procedure can have been.
func moment(text string, site *time.Location) (procedure.Moment, bool) {
	const first, last = 1970, 2100
	believable := func(t time.Time) bool { return t.Year() >= first && t.Year() <= last }
	text = strings.Replace(text, " ", "T", 1)
	for _, form := range []string{"2006-01-02T15:04:05Z07:00", "2006-01-02T15:04Z07:00"} {
		if t, err := time.Parse(form, text); err == nil {
			return procedure.Moment{Time: t, Offset: procedure.OffsetInValue}, believable(t)
		}
	}
	for _, form := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", "20060102150405"} {
		if t, err := time.ParseInLocation(form, text, site); err == nil {
			return procedure.Moment{Time: t, Offset: procedure.OffsetOfSite}, believable(t)
		}
	}
	t, err := time.ParseInLocation(time.DateOnly, text, site)
	return procedure.Moment{Time: t, Offset: procedure.OffsetOfSite, DateOnly: true}, err == nil && believable(t)
}

// number reads a decimal number with a point or a comma.
func number(text string, low, high float64) (float64, bool) {
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	return v, err == nil && !math.IsNaN(v) && v >= low && v <= high
}

// isUID tells whether a text is a DICOM UID (PS3.5 9.1): digits and points, no component empty.
func isUID(text string) bool {
	for part := range strings.SplitSeq(text, ".") {
		if part == "" || strings.Trim(part, "0123456789") != "" {
			return false
		}
	}
	return strings.Contains(text, ".")
}
