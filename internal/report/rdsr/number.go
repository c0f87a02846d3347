package rdsr

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

// zeroRule says what a zero in a row means.
type zeroRule uint8

const (
	// zeroValue is a possible value, such as an angle.
	zeroValue zeroRule = iota
	// zeroUnlikely is written by equipment that has no value, such as 0 kV: the value is absent, with a Finding.
	zeroUnlikely
)

// signRule says whether a row may be negative.
type signRule uint8

const (
	unsigned signRule = iota
	signed
)

// measure is how the numbers of one row are read: the unit the template wants, the canonical unit inside, and what zero
// and minus mean.
type measure struct {
	unit, inside string
	zero         zeroRule
	sign         signRule
	suspect      procedure.Suspicion
}

// judged is one number as read. Without present it is absent; suspect tells that its quantity is not believed.
type judged struct {
	value            float64
	present, suspect bool
}

// longestNumber bounds the text of a number; PS3.5 allows 16 characters, some equipment writes more.
const longestNumber = 64

// decimal reads a decimal string (PS3.5 DS): sign, point and exponent, no comma, no NaN, no infinity.
func decimal(text string) (float64, bool) {
	s := strings.TrimSpace(text)
	if s == "" || len(s) > longestNumber || strings.Trim(s, "+-.0123456789eE") != "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// numbers reads all values of a NUM item in canonical units, each odd one with a Finding. More than one value in one
// item is illegal (PS3.3 C.18.1): a row that may repeat takes them all, any other none.
func (r *reader) numbers(it item, m measure, many bool, at notebook.Place) []judged {
	if it.kind != "NUM" {
		r.notes.Addf("value-type", procedure.Reduced, at, "value type %s found, NUM expected; the value is absent", shown(it.kind))
		return nil
	}
	measured := it.set.Items(tagMeasured)
	if len(measured) == 0 {
		r.absent(it, at)
		return nil
	}
	number, _ := measured[0].Find(tagNumber)
	float, _ := measured[0].Find(tagFloat)
	texts, floats := number.Values, float.Floats
	if len(texts) == 0 && len(floats) == 0 {
		r.absent(it, at)
		return nil
	}
	unit, ok := r.unitOf(codeAt(measured[0], tagUnits), m, at)
	if !ok {
		return []judged{{suspect: m.suspect != 0}}
	}
	n := max(len(texts), len(floats))
	var out []judged
	for i := range n {
		out = append(out, r.number(texts, floats, i, unit, m, at))
	}
	switch {
	case n == 1:
	case many:
		r.notes.Add("several-values", procedure.Repaired, at, "several values in one Numeric Value, one expected; all are taken")
	default:
		r.notes.Addf("several-values", severityOf(m), at, "several values in one Numeric Value, one expected; %s", m.outcome())
		return []judged{m.largest(out)}
	}
	return out
}

// isDose tells whether the row is a dose, the larger of whose contradicting values stays in sight so that no flag is lost.
func (m measure) isDose() bool {
	return m.suspect.Has(procedure.SuspectKerma | procedure.SuspectKAP)
}

// outcome says what becomes of contradicting values.
func (m measure) outcome() string {
	if m.isDose() {
		return "the largest is shown and none is believed"
	}
	return "the value is absent"
}

// largest chooses among contradicting values.
func (m measure) largest(values []judged) judged {
	kept := judged{suspect: m.suspect != 0}
	for _, v := range values {
		if m.isDose() && v.present && (!kept.present || v.value > kept.value) {
			kept.value, kept.present = v.value, true
		}
	}
	return kept
}

// number reads the i-th value from its decimal string and the binary value beside it.
func (r *reader) number(texts []string, floats []float64, i int, u quantity.Unit, m measure, at notebook.Place) judged {
	v, ok, contradicted := r.raw(texts, floats, i, m, at)
	if !ok {
		return judged{suspect: m.suspect != 0}
	}
	inside, err := quantity.ParseUnit(m.inside)
	if err == nil {
		v, err = u.Convert(v, inside)
	}
	switch {
	case err != nil || math.IsInf(v, 0):
		r.notes.Add("number-malformed", severityOf(m), at, "the number cannot be converted; the value is absent")
		return judged{suspect: m.suspect != 0}
	case v < 0 && m.sign == unsigned:
		r.notes.Add("negative-value", severityOf(m), at, "negative number found, none below zero expected; the value is absent")
		return judged{suspect: m.suspect != 0}
	case v == 0 && m.zero == zeroUnlikely:
		r.notes.Add("zero-for-absent", procedure.Reduced, at, "zero found where it is no possible value; taken as absent")
		return judged{}
	}
	if v == 0 {
		v = 0 // a minus zero compares equal and prints oddly
	}
	return judged{value: v, present: true, suspect: contradicted && m.suspect != 0}
}

// raw chooses between the decimal string and the Floating Point Value (0040,A161), which PS3.3 C.18.1 lets stand beside
// it to keep the precision that 16 characters cannot.
//
// Where they contradict one another the decimal string counts, of a dose the larger.
func (r *reader) raw(texts []string, floats []float64, i int, m measure, at notebook.Place) (v float64, ok, contradicted bool) {
	haveFloat := i < len(floats)
	if haveFloat && (math.IsNaN(floats[i]) || math.IsInf(floats[i], 0)) {
		r.notes.Add("float-malformed", procedure.Reduced, at, "the Floating Point Value is no number; it is left out")
		haveFloat = false
	}
	text, haveText := 0.0, false
	if i < len(texts) {
		text, haveText = decimal(texts[i])
		if !haveText {
			r.notes.Addf("number-malformed", severityOf(m), at, "%s found, a decimal number expected%s", shown(texts[i]), instead(haveFloat))
		}
	}
	switch {
	case !haveFloat:
		return text, haveText, false
	case !haveText:
		return floats[i], true, false
	}
	// 16 characters keep at least 9 digits of any number that has an exponent and a sign.
	if math.Abs(text-floats[i]) <= 1e-8*math.Max(math.Abs(text), math.Abs(floats[i])) {
		return floats[i], true, false
	}
	r.notes.Add("float-differs", severityOf(m), at, "decimal string and Floating Point Value differ")
	if m.isDose() {
		return math.Max(text, floats[i]), true, true
	}
	return text, true, true
}

func instead(float bool) string {
	if float {
		return "; the Floating Point Value is taken"
	}
	return "; the value is absent"
}

func severityOf(m measure) procedure.Severity {
	if m.suspect != 0 {
		return procedure.Suspect
	}
	return procedure.Reduced
}

// unitOf understands the unit code of a number. A dose without one is suspect: a factor of ten thousand may hide there.
func (r *reader) unitOf(code procedure.Code, m measure, at notebook.Place) (quantity.Unit, bool) {
	want, err := quantity.ParseUnit(m.unit)
	if err != nil {
		return quantity.Unit{}, false
	}
	if code.Value == "" && want.Dimension == quantity.DimensionNone && want.Size == 1 {
		r.notes.Add("unit-missing", procedure.Note, at, "no unit code on a plain number; taken as a plain number")
		return want, true
	}
	if code.Value == "" {
		r.notes.Addf("unit-missing", severityOf(m), at, "no unit code, %s expected; the value is absent", m.unit)
		return quantity.Unit{}, false
	}
	unit, err := quantity.ParseUnit(code.Value)
	if err != nil || unit.Dimension != want.Dimension {
		r.notes.Addf("unit-other", severityOf(m), at, "unit %s found, %s expected; the value is absent", shown(code.Value), m.unit)
		return quantity.Unit{}, false
	}
	switch {
	case unit.Repaired:
		r.notes.Addf("unit-spelling", procedure.Repaired, at, "unit spelt %s, read as a form of %s", shown(code.Value), m.unit)
	case math.Abs(unit.Size/want.Size-1) > 1e-12: // sizes are products of powers of ten, each rounded
		r.notes.Addf("unit-converted", procedure.Note, at, "unit %s found, %s expected; converted", shown(code.Value), m.unit)
	}
	return unit, true
}

// absent notes a numeric item without a measured value, which the standard allows with a qualifier (CID 42).
func (r *reader) absent(it item, at notebook.Place) {
	if q := codeAt(it.set, tagQualifier); !q.IsZero() {
		r.notes.Addf("value-absent", procedure.Note, at, "no measured value, qualifier %s %s", shown(q.Value), shown(q.Meaning))
		return
	}
	r.notes.Add("value-absent", procedure.Reduced, at, "no measured value and no qualifier; the value is absent")
}

// shown makes text of a report fit for a Finding: short and printable.
func shown(s string) string {
	const longest = 32
	runes := []rune(strings.TrimSpace(s))
	if len(runes) > longest {
		runes = append(runes[:longest:longest], '…')
	}
	return fmt.Sprintf("%q", string(runes))
}
