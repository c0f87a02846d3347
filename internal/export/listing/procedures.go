package listing

import (
	"strings"
	"time"

	"afterbeam/internal/export/table"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// column is one column with where its value comes from.
type column[T any] struct {
	table.Column
	of func(T) table.Value
}

func text[T any](name, title, meaning string, of func(T) string) column[T] {
	return column[T]{table.Column{Name: name, Title: title, Kind: table.Text, Meaning: meaning}, func(row T) table.Value { return said(of(row)) }}
}

func id[T any](name, title, meaning string, of func(T) string) column[T] {
	return column[T]{table.Column{Name: name, Title: title, Kind: table.ID, Meaning: meaning}, func(row T) table.Value { return said(of(row)) }}
}

// number is one whose absence has a reason.
func number[T any](name, title, unit string, decimals int, meaning, source string, of func(T) (quantity.Opt[float64], string)) column[T] {
	return column[T]{
		table.Column{Name: name, Title: title, Kind: table.Number, Unit: unit, Decimals: decimals, Meaning: meaning, Source: source, Reasoned: true},
		func(row T) table.Value {
			v, why := of(row)
			return table.OptNumber(v, why)
		},
	}
}

// bare is one that is there or not, without a reason.
func bare[T any](name, title, unit string, decimals int, meaning string, of func(T) quantity.Opt[float64]) column[T] {
	return column[T]{
		table.Column{Name: name, Title: title, Kind: table.Number, Unit: unit, Decimals: decimals, Meaning: meaning},
		func(row T) table.Value { return table.OptNumber(of(row), "") },
	}
}

func said(text string) table.Value {
	if text == "" {
		return table.Absent("")
	}
	return table.TextOf(text)
}

// in gives a quantity in a unit, as a plain number.
func in[T ~float64](v quantity.Opt[T], unit T) quantity.Opt[float64] {
	n, ok := v.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(float64(n / unit))
}

// The sources of numbers.
const (
	displayed = "as the equipment displays it"
	estimated = "estimate of this program, not a measurement"
)

// unreported is why a number of a report is not there.
const unreported = "not reported"

type procedureColumn = column[store.SummaryRow]

// procedureColumns are the columns of the table of procedures.
func procedureColumns(identified bool) []procedureColumn {
	all := append(whichProcedure(), dosesOfProcedure()...)
	all = append(all, estimatesOfProcedure()...)
	if identified {
		all = append(all, identifiers()...)
	}
	return all
}

func whichProcedure() []procedureColumn {
	type row = store.SummaryRow
	return []procedureColumn{
		id("procedure_id", "Procedure", "Id of the procedure at this site", func(r row) string { return r.ID }),
		{table.Column{Name: "day", Title: "Day", Kind: table.Date, Meaning: "Local date of the first irradiation"}, func(r row) table.Value {
			day, err := time.Parse(time.DateOnly, r.Day)
			if err != nil {
				return table.Absent("")
			}
			return table.DateOf(day)
		}},
		{table.Column{Name: "start", Title: "Start", Kind: table.Time, Meaning: "First irradiation"}, func(r row) table.Value {
			if r.Start.IsZero() {
				return table.Absent("")
			}
			return table.TimeOf(r.Start)
		}},
		text("room", "Room", "Room of the site", func(r row) string { return r.Room }),
		id("device", "Device", "Key of the device", func(r row) string { return r.Device }),
		text("device_name", "Device name", "What the device calls itself", func(r row) string { return r.DeviceName }),
		text("class", "Class", "Procedure class of the lexicon", func(r row) string { return r.Class }),
		text("complexity", "Complexity", "Complexity by the lexicon", func(r row) string { return r.Complexity }),
		text("description", "Description", "Study description as reported", func(r row) string { return r.Description }),
		id("patient", "Patient", "Pseudonym of the patient, the same for all records of one person", func(r row) string { return r.Patient }),
		text("sex", "Sex", "Sex as reported", func(r row) string { return r.Sex }),
		bare("age_years", "Age", "a", 2, "Age at the procedure; whole years, below 16 years whole months", func(r row) quantity.Opt[float64] { return r.AgeYears }),
		bare("height_cm", "Height", "cm", 1, "Height as reported or given by a person", func(r row) quantity.Opt[float64] { return in(r.Height, quantity.Centimetre) }),
		bare("weight_kg", "Weight", "kg", 1, "Weight as reported or given by a person", func(r row) quantity.Opt[float64] { return in(r.Weight, 1) }),
		text("pregnant", "Pregnant", "yes where the report says that the patient is or may be pregnant", func(r row) string { return yes(r.Pregnant) }),
		text("operators", "Operators", "Pseudonyms of those who performed it, with a space between", func(r row) string { return strings.Join(r.Operators, " ") }),
		text("state", "State", "provisional, complete or amended", func(r row) string { return r.State }),
		text("basis", "Basis", "report, or totals where the equipment announced totals alone", func(r row) string {
			if r.Basis == store.BasisTotals {
				return "totals"
			}
			return "report"
		}),
		text("test_object", "Test object", "yes for the exposure of a test object", func(r row) string { return yes(r.Quality) }),
	}
}

func yes(is bool) string {
	if is {
		return "yes"
	}
	return ""
}

func dosesOfProcedure() []procedureColumn {
	type row = store.SummaryRow
	return []procedureColumn{
		number("ka_r_gy", "Air kerma at the reference point", "Gy", 6, "Sum of the planes; see ka_r_doubt", displayed, func(r row) (quantity.Opt[float64], string) {
			return in(r.Kerma, 1), unreported
		}),
		doubt("ka_r_doubt", "Doubt of the air kerma", store.GapKerma, store.SuspectKerma),
		bare("ka_r_factor", "Factor of the air kerma display", "1", 4, "Signed factor, measured over displayed; the value beside it is without it", func(r row) quantity.Opt[float64] { return r.KermaFactor }),
		number("kap_gy_cm2", "Kerma-area product", "Gy.cm2", 4, "Sum of the planes; see kap_doubt", displayed, func(r row) (quantity.Opt[float64], string) {
			return in(r.KAP, quantity.GraySquareCentimetre), unreported
		}),
		doubt("kap_doubt", "Doubt of the kerma-area product", store.GapKAP, store.SuspectKAP),
		number("ft_s", "Fluoroscopy time", "s", 1, "Sum of the planes; see ft_doubt", displayed, func(r row) (quantity.Opt[float64], string) {
			return in(r.FluoroTime, 1), unreported
		}),
		doubt("ft_doubt", "Doubt of the fluoroscopy time", store.GapTime, 0),
		number("images", "Images", "1", 0, "Acquired images", displayed, func(r row) (quantity.Opt[float64], string) { return r.Images, unreported }),
	}
}

func doubt(name, title string, part, suspect store.Gaps) procedureColumn {
	return text(name, title, "part: a lower bound, a plane is missing; suspect: not believed", func(r store.SummaryRow) string {
		switch {
		case r.Gaps.Has(suspect):
			return "suspect"
		case r.Gaps.Has(part):
			return "part"
		}
		return ""
	})
}

func estimatesOfProcedure() []procedureColumn {
	type row = store.SummaryRow
	return []procedureColumn{
		number("psd_gy", "Peak skin dose", "Gy", 4, "Estimated peak skin dose", estimated, func(r row) (quantity.Opt[float64], string) { return in(r.PSD, 1), r.NoPeak }),
		bare("psd_low_gy", "Peak skin dose, low", "Gy", 4, "Lower end of its range", func(r row) quantity.Opt[float64] { return in(r.PSDLow, 1) }),
		bare("psd_high_gy", "Peak skin dose, high", "Gy", 4, "Upper end of its range", func(r row) quantity.Opt[float64] { return in(r.PSDHigh, 1) }),
		text("psd_method", "Method of the peak skin dose", "How it was estimated", func(r row) string { return r.PSDMethod }),
		text("psd_lower_bound", "Peak skin dose is a lower bound", "yes where it may lie above its range", func(r row) string { return yes(r.Gaps.Has(store.LowerBound)) }),
		number("e_msv", "Effective dose", "mSv", 4, "Estimated effective dose of a reference person", estimated, func(r row) (quantity.Opt[float64], string) {
			return in(r.Effective, quantity.MilliSievert), r.NoEffective
		}),
		bare("e_low_msv", "Effective dose, low", "mSv", 4, "Lower end of its range", func(r row) quantity.Opt[float64] { return in(r.EffectiveLow, quantity.MilliSievert) }),
		bare("e_high_msv", "Effective dose, high", "mSv", 4, "Upper end of its range", func(r row) quantity.Opt[float64] { return in(r.EffectiveHigh, quantity.MilliSievert) }),
		text("e_method", "Method of the effective dose", "How it was estimated", func(r row) string { return r.EffectiveMethod }),
		text("level_state", "State against the levels", "reached, near, unknown or below; levels prompt people to look and decide nothing", func(r row) string { return r.FlagState }),
		bare("estimate_version", "Estimate", "1", 0, "Number of the estimate", func(r row) quantity.Opt[float64] { return quantity.Some(float64(r.Version)) }),
	}
}

// identifiers are those of the patient and of the order.
func identifiers() []procedureColumn {
	of := func(field func(*store.Identified) string) func(store.SummaryRow) string {
		return func(r store.SummaryRow) string {
			if r.Identified == nil {
				return ""
			}
			return field(r.Identified)
		}
	}
	return []procedureColumn{
		id("study_uid", "Study", "Study Instance UID", of(func(i *store.Identified) string { return i.StudyUID })),
		id("accession_number", "Accession number", "Number of the order", of(func(i *store.Identified) string { return i.Accession })),
		id("patient_number", "Patient number", "Number of the patient as reported", of(func(i *store.Identified) string { return i.Number })),
		id("patient_issuer", "Issuer of the number", "Who gave the number", of(func(i *store.Identified) string { return i.Issuer })),
		text("patient_name", "Patient name", "Name as reported", of(func(i *store.Identified) string { return i.Name })),
		id("birth_date", "Birth date", "Birth date as reported", of(func(i *store.Identified) string { return i.BirthDate })),
	}
}
