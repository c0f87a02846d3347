package release

import (
	"math"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/export/table"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Reasons why something is not in a table.
const (
	notTold     = "withheld: fewer than 5 patients of the release share it"
	notReported = "not reported"
	notAsked    = "not asked for"
	noEstimate  = "no estimate"
)

func identifier(name, title, meaning string) table.Column {
	return table.Column{Name: name, Title: title, Kind: table.ID, Meaning: meaning}
}

func phrase(name, title, meaning string) table.Column {
	return table.Column{Name: name, Title: title, Kind: table.Text, Meaning: meaning, Reasoned: true}
}

func figure(name, title, unit string, decimals int, meaning string) table.Column {
	return table.Column{Name: name, Title: title, Kind: table.Number, Unit: unit, Decimals: decimals, Meaning: meaning, Reasoned: true}
}

// tableVersion goes up when a reader of the tables would break.
const tableVersion = 1

// procedureTable is the table of procedures.
func procedureTable() table.Table {
	reported, estimated := "As the equipment displays it, all planes.", "Estimate with its range, not a measurement."
	return table.Table{
		Name: "released_procedures", Version: tableVersion, Title: "Procedures", Language: "en",
		Columns: []table.Column{
			identifier("procedure", "Procedure", "Pseudonym of the procedure, the same for one recipient."),
			identifier("patient", "Patient", "Pseudonym of the patient, the same for one recipient."),
			{Name: "day", Title: "Day", Kind: table.Date, Meaning: "Day of the procedure, moved back by a number of days that is the same for all of a patient.", Reasoned: true},
			phrase("state", "State", "Whether all reports have come: provisional, complete, amended."),
			phrase("class", "Class", "Procedure class."),
			identifier("device", "Device", "Pseudonym of the device; one for all that are withheld."),
			phrase("operators", "Operators", "Pseudonyms of those who took part, parted by blanks."),
			phrase("sex", "Sex", "M, F or O."),
			figure("age_years", "Age", "a", 0, "Whole years; 90 is 90 and more."),
			figure("height_m", "Height", "m", 2, "By option bounded."),
			figure("weight_kg", "Weight", "kg", 1, "By option bounded."),
			figure("kerma_gy", "Air kerma at the reference point", "Gy", 9, reported),
			figure("kap_gycm2", "Kerma-area product", "Gy.cm2", 8, reported),
			figure("fluoroscopy_s", "Fluoroscopy time", "s", 3, reported),
			phrase("doses_complete", "Doses complete", "yes when air kerma and kerma-area product hold every plane."),
			figure("peak_skin_gy", "Peak skin dose", "Gy", 6, estimated),
			figure("peak_skin_low_gy", "Peak skin dose, low end", "Gy", 6, estimated),
			figure("peak_skin_high_gy", "Peak skin dose, high end", "Gy", 6, estimated),
			phrase("peak_skin_method", "Method of peak skin dose", "How the estimate was made."),
			figure("effective_sv", "Effective dose", "Sv", 9, estimated),
			figure("effective_low_sv", "Effective dose, low end", "Sv", 9, estimated),
			figure("effective_high_sv", "Effective dose, high end", "Sv", 9, estimated),
			phrase("level_state", "State against the levels", "reached, near, unknown, below or none: follow-up levels of the department."),
			figure("events", "Irradiation events", "1", 0, "Rows of the table of events."),
		},
	}
}

// eventTable is the table of irradiation events.
func eventTable() table.Table {
	return table.Table{
		Name: "released_events", Version: tableVersion, Title: "Irradiation events", Language: "en",
		Columns: []table.Column{
			identifier("procedure", "Procedure", "Pseudonym of the procedure."),
			identifier("patient", "Patient", "Pseudonym of the patient."),
			identifier("event", "Event", "UID of the event, another than the equipment's; that of the reports released with it."),
			phrase("started", "Started", "Local start, its day moved back; ISO 8601, with the offset from UTC where it is known."),
			phrase("plane", "Plane", "Plane of the equipment."),
			phrase("kind", "Kind", "Kind of irradiation."),
			figure("kerma_gy", "Air kerma at the reference point", "Gy", 12, "As reported; 0 is 0."),
			figure("kap_gycm2", "Kerma-area product", "Gy.cm2", 11, "As reported."),
			figure("pulses", "Pulses", "1", 0, "As reported."),
			figure("voltage_kv", "Tube voltage", "kV", 3, "Mean of the reported values."),
			figure("current_ma", "Tube current", "mA", 3, "Mean of the reported values."),
			figure("exposure_time_s", "Exposure time", "s", 6, "As reported."),
			figure("copper_mm", "Copper filter", "mm", 3, "Least thickness reported."),
			figure("field_m2", "Collimated field", "m2", 6, "At the detector."),
			figure("primary_deg", "Primary angle", "deg", 2, "Positive towards the patient's left."),
			figure("secondary_deg", "Secondary angle", "deg", 2, "Positive towards the head."),
			figure("source_isocentre_mm", "Source to isocentre", "mm", 2, "As reported."),
			figure("source_detector_mm", "Source to detector", "mm", 2, "As reported."),
			figure("source_reference_mm", "Source to reference point", "mm", 2, "As reported."),
			figure("table_longitudinal_mm", "Table, longitudinal", "mm", 2, "As reported."),
			figure("table_lateral_mm", "Table, lateral", "mm", 2, "As reported."),
			figure("table_height_mm", "Table, height", "mm", 2, "As reported."),
		},
	}
}

// told gives a text, or the reason why it is not there.
func told(text string, hidden bool, reason string) table.Value {
	switch {
	case hidden:
		return table.Absent(notTold)
	case text == "":
		return table.Absent(reason)
	}
	return table.TextOf(text)
}

// row is a case's row of the table of procedures.
func (b *bundle) row(c Case, w withheld, events int) []table.Value {
	characteristic := func(v table.Value) table.Value {
		switch {
		case !b.in.Options.Characteristics:
			return table.Absent(notAsked)
		case w.characteristics:
			return table.Absent(notTold)
		}
		return v
	}
	complete := map[bool]string{true: "yes", false: "no"}[c.Complete]
	p := b.in.Pseudonyms
	return []table.Value{
		table.TextOf(p.Procedure(c.ID)), table.TextOf(p.Patient(c.Patient)), b.day(c), told(c.State, false, "not known"),
		told(c.Class, w.class, "not known"), table.TextOf(p.Device(w.deviceOf(c))), b.operators(c, w),
		characteristic(told(c.Sex, false, notReported)), characteristic(ageValue(c)),
		characteristic(sizeValue(b.height(c))), characteristic(sizeValue(b.weight(c))),
		table.OptNumber(c.Kerma, notReported), kermaArea(c.KAP), table.OptNumber(c.FluoroTime, notReported), table.TextOf(complete),
		table.OptNumber(c.PSD, noEstimate), table.OptNumber(c.PSDLow, noEstimate), table.OptNumber(c.PSDHigh, noEstimate), told(c.PSDMethod, false, noEstimate),
		table.OptNumber(c.Effective, noEstimate), table.OptNumber(c.EffectiveLow, noEstimate), table.OptNumber(c.EffectiveHigh, noEstimate),
		told(c.Flag, false, "none"), table.NumberOf(float64(events)),
	}
}

func (b *bundle) day(c Case) table.Value {
	day, err := time.Parse(time.DateOnly, c.Day)
	if err != nil {
		return table.Absent(notReported)
	}
	return table.DateOf(day.AddDate(0, 0, -b.in.Pseudonyms.DaysBack(c.Patient)))
}

func (b *bundle) operators(c Case, w withheld) table.Value {
	switch {
	case b.in.Options.Persons != PersonsPseudonym:
		return table.Absent(notAsked)
	case w.operators:
		return table.Absent(notTold)
	}
	var names []string
	for _, who := range c.Operators {
		if name := b.in.Pseudonyms.Person(who); name != "" && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return told(strings.Join(names, " "), false, notReported)
}

// ageValue is the age in whole years, 90 for 90 and more.
func ageValue(c Case) table.Value {
	years, ok := c.Age.Get()
	if !ok {
		return table.Absent(notReported)
	}
	return table.NumberOf(math.Floor(min(years, oldest)))
}

func sizeValue(v quantity.Opt[float64]) table.Value { return table.OptNumber(v, notReported) }

func (b *bundle) height(c Case) quantity.Opt[float64] {
	v, ok := c.Height.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(b.bounded(float64(v/quantity.Metre), c.Age, shortest, tallest))
}

func (b *bundle) weight(c Case) quantity.Opt[float64] {
	v, ok := c.Weight.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(b.bounded(float64(v), c.Age, lightest, weighty))
}

func (b *bundle) bounded(v float64, age quantity.Opt[float64], low, high float64) float64 {
	if !b.in.Options.BoundSizes {
		return v
	}
	return bound(v, age, low, high)
}

// eventRow is an event's row.
func (b *bundle) eventRow(c Case, e *procedure.Event) []table.Value {
	p, m := b.in.Pseudonyms, &e.Mechanics
	uid := table.Value{}
	if e.UID != "" {
		uid = table.TextOf(p.UID(e.UID))
	}
	copper := quantity.None[quantity.Millimetre]()
	for _, f := range e.Filters {
		if f.Metal == procedure.Copper && f.Min.Present() {
			copper = f.Min
		}
	}
	return []table.Value{
		table.TextOf(p.Procedure(c.ID)), table.TextOf(p.Patient(c.Patient)), uid, told(b.started(c, e.Start), false, notReported),
		told(e.Plane.String(), false, notReported), told(e.Type.String(), false, notReported),
		table.OptNumber(e.RefKerma, notReported), kermaArea(e.KAP), table.OptNumber(e.Technique.Pulses, notReported),
		mean(e.Technique.Voltages), mean(e.Technique.Currents), table.OptNumber(e.Technique.ExposureTime, notReported), table.OptNumber(copper, notReported),
		table.OptNumber(e.Field.Area, notReported), table.OptNumber(m.Primary, notReported), table.OptNumber(m.Secondary, notReported),
		table.OptNumber(m.SourceToIsocentre, notReported), table.OptNumber(m.SourceToDetector, notReported), table.OptNumber(m.SourceToReference, notReported),
		table.OptNumber(m.TableLongitudinal, notReported), table.OptNumber(m.TableLateral, notReported), table.OptNumber(m.TableHeight, notReported),
	}
}

// started gives the moved start. Sub-seconds stay, so that intervals do.
func (b *bundle) started(c Case, m procedure.Moment) string {
	if m.IsZero() {
		return ""
	}
	layout := "2006-01-02T15:04:05.999999"
	if m.DateOnly {
		layout = time.DateOnly
	}
	if m.Offset != procedure.OffsetUnknown && !m.DateOnly {
		layout += "-07:00"
	}
	// The shift is one of the calendar: the clock stays, whatever the zone does on the other day.
	_, offset := m.Time.Zone()
	return m.Time.In(time.FixedZone("", offset)).AddDate(0, 0, -b.in.Pseudonyms.DaysBack(c.Patient)).Format(layout)
}

func mean[T ~float64](values []T) table.Value {
	if len(values) == 0 {
		return table.Absent(notReported)
	}
	sum := 0.0
	for _, v := range values {
		sum += float64(v)
	}
	return table.NumberOf(sum / float64(len(values)))
}

// kermaArea is in Gy cm2, the unit in which people have it.
func kermaArea(v quantity.Opt[quantity.GraySquareMetre]) table.Value {
	kap, ok := v.Get()
	if !ok {
		return table.Absent(notReported)
	}
	return table.NumberOf(kap.Gycm2())
}
