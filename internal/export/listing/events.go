package listing

import (
	"strconv"

	"afterbeam/internal/export/table"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// eventRow is one irradiation event of one plane, with the procedure that it belongs to.
type eventRow struct {
	of    *store.SummaryVersion
	place int // from 1, in the order of the procedure
	procedure.Event
}

type eventColumn = column[eventRow]

// eventColumns are the columns of the table of irradiation events.
func eventColumns(identified bool) []eventColumn {
	all := append(whichEvent(), doseOfEvent()...)
	all = append(all, geometryOfEvent()...)
	if identified {
		all = append(
			all,
			id("study_uid", "Study", "Study Instance UID", func(e eventRow) string { return e.of.StudyUID }),
			id("event_uid", "Event UID", "Irradiation Event UID", func(e eventRow) string { return e.UID }),
			id("report_uid", "Report", "SOP Instance UID of the report", func(e eventRow) string { return e.ReportUID }),
		)
	}
	return all
}

func whichEvent() []eventColumn {
	return []eventColumn{
		id("procedure_id", "Procedure", "Id of the procedure at this site", func(e eventRow) string { return e.of.CaseID }),
		id("event", "Event", "Place of the event in the procedure, from 1", func(e eventRow) string { return strconv.Itoa(e.place) }),
		text("room", "Room", "Room of the site", func(e eventRow) string { return e.of.Room }),
		text("plane", "Plane", "Plane of the equipment", func(e eventRow) string { return e.Plane.String() }),
		{table.Column{Name: "start", Title: "Start", Kind: table.Time, Meaning: "Begin of the irradiation"}, func(e eventRow) table.Value {
			if e.Start.IsZero() {
				return table.Absent("")
			}
			return table.TimeOf(e.Start.Time)
		}},
		text("type", "Type", "Type of the irradiation", func(e eventRow) string { return e.Type.String() }),
		text("protocol", "Protocol", "Acquisition protocol as reported", func(e eventRow) string { return e.Protocol }),
	}
}

func doseOfEvent() []eventColumn {
	return []eventColumn{
		bare("ka_r_gy", "Air kerma at the reference point", "Gy", 9, "As the equipment displays it", func(e eventRow) quantity.Opt[float64] { return in(e.RefKerma, 1) }),
		bare("kap_gy_cm2", "Kerma-area product", "Gy.cm2", 7, "As the equipment displays it", func(e eventRow) quantity.Opt[float64] { return in(e.KAP, quantity.GraySquareCentimetre) }),
		bare("duration_s", "Duration", "s", 3, "Irradiation duration", func(e eventRow) quantity.Opt[float64] { return in(e.Technique.Duration, 1) }),
		bare("pulses", "Pulses", "1", 0, "Number of pulses", func(e eventRow) quantity.Opt[float64] { return e.Technique.Pulses }),
		bare("pulse_rate_per_s", "Pulse rate", "/s", 2, "Pulse rate", func(e eventRow) quantity.Opt[float64] { return in(e.Technique.PulseRate, 1) }),
		bare("kvp_mean_kv", "Tube voltage", "kV", 2, "Mean of the reported values", func(e eventRow) quantity.Opt[float64] { return mean(e.Technique.Voltages) }),
		bare("current_mean_ma", "Tube current", "mA", 3, "Mean of the reported values", func(e eventRow) quantity.Opt[float64] { return mean(e.Technique.Currents) }),
		bare("copper_mm", "Copper", "mm", 3, "Least thickness of the flat copper filters", func(e eventRow) quantity.Opt[float64] { return metal(e.Filters, procedure.Copper) }),
		bare("aluminium_mm", "Aluminium", "mm", 3, "Least thickness of the flat aluminium filters", func(e eventRow) quantity.Opt[float64] { return metal(e.Filters, procedure.Aluminium) }),
		text("suspect", "Suspect", "yes where a quantity of the event is not believed", func(e eventRow) string { return yes(e.Suspicion != 0) }),
	}
}

func geometryOfEvent() []eventColumn {
	mm := func(name, title, meaning string, of func(procedure.Mechanics) quantity.Opt[quantity.Millimetre]) eventColumn {
		return bare(name, title, "mm", 1, meaning, func(e eventRow) quantity.Opt[float64] { return in(of(e.Mechanics), 1) })
	}
	return []eventColumn{
		bare("primary_deg", "Primary angle", "deg", 2, "As reported: LAO positive", func(e eventRow) quantity.Opt[float64] { return in(e.Mechanics.Primary, 1) }),
		bare("secondary_deg", "Secondary angle", "deg", 2, "As reported: cranial positive", func(e eventRow) quantity.Opt[float64] { return in(e.Mechanics.Secondary, 1) }),
		mm("source_to_detector_mm", "Source to detector", "As reported", func(m procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.SourceToDetector }),
		mm("source_to_isocentre_mm", "Source to isocentre", "As reported", func(m procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.SourceToIsocentre }),
		mm("table_longitudinal_mm", "Table, longitudinal", "As reported: zero and sign are the device's", func(m procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableLongitudinal }),
		mm("table_lateral_mm", "Table, lateral", "As reported: zero and sign are the device's", func(m procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableLateral }),
		mm("table_height_mm", "Table, height", "As reported: zero and sign are the device's", func(m procedure.Mechanics) quantity.Opt[quantity.Millimetre] { return m.TableHeight }),
		bare("field_cm2", "Field", "cm2", 2, "Collimated field as reported", func(e eventRow) quantity.Opt[float64] { return in(e.Field.Area, quantity.SquareCentimetre) }),
	}
}

// mean gives the mean of repeated values, absent when there is none.
func mean[T ~float64](values []T) quantity.Opt[float64] {
	if len(values) == 0 {
		return quantity.None[float64]()
	}
	sum := 0.0
	for _, v := range values {
		sum += float64(v)
	}
	return quantity.Some(sum / float64(len(values)))
}

// metal adds up the flat filters of a metal; absent when none of them is reported with a thickness.
func metal(filters []procedure.Filter, of procedure.Metal) quantity.Opt[float64] {
	sum, any := 0.0, false
	for _, f := range filters {
		flat := f.Type == procedure.FilterFlat || f.Type == procedure.FilterUnknown
		if least, known := f.Min.Get(); known && flat && f.Metal == of {
			sum, any = sum+float64(least), true
		}
	}
	if !any {
		return quantity.None[float64]()
	}
	return quantity.Some(sum)
}
