package rdsr

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

// The relationships of TID 10001.
const (
	contains      = "CONTAINS"
	hasContext    = "HAS OBS CONTEXT"
	hasModifier   = "HAS CONCEPT MOD"
	hasProperties = "HAS PROPERTIES"
)

// nodes makes content items in one generation of codes.
type nodes struct{ generation CodeGeneration }

func element(tag dicomio.Tag, vr string, values ...string) dicomio.Element {
	if len(values) == 1 && values[0] == "" {
		values = nil
	}
	return dicomio.Element{Tag: tag, VR: vr, Values: values}
}

func sequence(tag dicomio.Tag, items ...dicomio.DataSet) dicomio.Element {
	return dicomio.Element{Tag: tag, VR: "SQ", Items: items}
}

// sorted puts elements in ascending order of tags, as a data set must be.
func sorted(set dicomio.DataSet) dicomio.DataSet {
	slices.SortStableFunc(set, func(a, b dicomio.Element) int { return cmp.Compare(a.Tag, b.Tag) })
	return set
}

// code makes a code sequence item. Code Value holds 16 characters, longer ones go to Long Code Value (PS3.3 8.1).
func (n nodes) code(c procedure.Code) dicomio.DataSet {
	const longestCode, longestMeaning = 16, 64
	meaning := c.Meaning
	if meaning == "" {
		meaning = theCodes().meaning(c.Value)
	}
	if meaning == "" {
		meaning = c.Value
	}
	if runes := []rune(meaning); len(runes) > longestMeaning {
		meaning = string(runes[:longestMeaning])
	}
	c = theCodes().in(c, n.generation)
	value := element(tagCodeValue, "SH", c.Value)
	if len(c.Value) > longestCode {
		value = element(tagLongCodeValue, "UC", c.Value)
	}
	return sorted(dicomio.DataSet{value, element(tagCodeScheme, "SH", c.Scheme), element(tagCodeMeaning, "LO", meaning)})
}

// item makes a content item; value is its value elements, kids the content items below it.
func (n nodes) item(relation, kind string, name procedure.Code, value []dicomio.Element, kids []dicomio.DataSet) dicomio.DataSet {
	set := dicomio.DataSet{
		element(tagRelationship, "CS", relation),
		element(tagValueType, "CS", kind),
		sequence(tagConceptName, n.code(name)),
	}
	set = append(set, value...)
	if len(kids) > 0 {
		set = append(set, sequence(tagContent, kids...))
	}
	return sorted(set)
}

func (n nodes) container(name procedure.Code, kids []dicomio.DataSet) dicomio.DataSet {
	return n.item(contains, "CONTAINER", name, []dicomio.Element{element(tagContinuity, "CS", "SEPARATE")}, kids)
}

func (n nodes) coded(relation string, name, value procedure.Code, kids ...dicomio.DataSet) dicomio.DataSet {
	return n.item(relation, "CODE", name, []dicomio.Element{sequence(tagCode, n.code(value))}, kids)
}

// text makes a TEXT, UIDREF, PNAME or DATETIME item.
func (n nodes) text(relation, kind string, name procedure.Code, value string, kids ...dicomio.DataSet) dicomio.DataSet {
	e := element(tagText, "UT", value)
	switch kind {
	case "UIDREF":
		e = element(tagUID, "UI", value)
	case "PNAME":
		e = element(tagPersonName, "PN", value)
	case "DATETIME":
		e = element(tagDateTime, "DT", value)
	}
	return n.item(relation, kind, name, []dicomio.Element{e}, kids)
}

// number makes a NUM item of a canonical value, in the unit that the template wants.
func (n nodes) number(name procedure.Code, m measure, value float64, kids ...dicomio.DataSet) dicomio.DataSet {
	value = inUnit(value, m)
	text, exact := decimalString(value)
	measured := dicomio.DataSet{
		sequence(tagUnits, n.code(procedure.Code{Value: m.unit, Scheme: "UCUM", Meaning: m.unit})),
		element(tagNumber, "DS", text),
	}
	if !exact {
		measured = append(measured, dicomio.Element{Tag: tagFloat, VR: "FD", Values: []string{strconv.FormatFloat(value, 'g', -1, 64)}, Floats: []float64{value}})
	}
	return n.item(contains, "NUM", name, []dicomio.Element{sequence(tagMeasured, sorted(measured))}, kids)
}

// inUnit turns a canonical value into the unit that the template wants, if need be by a last bit, so that reading it
// gives the same value again.
func inUnit(value float64, m measure) float64 {
	inside, errInside := quantity.ParseUnit(m.inside)
	unit, errUnit := quantity.ParseUnit(m.unit)
	if errInside != nil || errUnit != nil || m.inside == m.unit {
		return value
	}
	written, err := inside.Convert(value, unit)
	if err != nil {
		return value
	}
	for _, candidate := range []float64{written, math.Nextafter(written, math.Inf(1)), math.Nextafter(written, math.Inf(-1))} {
		if back, err := unit.Convert(candidate, inside); err == nil && back == value {
			return candidate
		}
	}
	return written
}

// unknown makes a NUM item without a measured value, for a mandatory row the report has no value of (CID 42).
func (n nodes) unknown(name procedure.Code) dicomio.DataSet {
	why := sequence(tagQualifier, n.code(dcm("114010", "Value unknown")))
	return n.item(contains, "NUM", name, []dicomio.Element{sequence(tagMeasured), why}, nil)
}

// decimalString writes a number in at most 16 characters (PS3.5 DS) and tells whether it reads back the same.
func decimalString(v float64) (string, bool) {
	const longest = 16
	for _, format := range []byte{'f', 'g'} {
		if s := strconv.FormatFloat(v, format, -1, 64); len(s) <= longest {
			return s, true
		}
	}
	for precision := longest; precision > 0; precision-- {
		s := strconv.FormatFloat(v, 'g', precision, 64)
		// A two-digit exponent needs no plus sign.
		if s = strings.Replace(s, "e+", "e", 1); len(s) <= longest {
			back, err := strconv.ParseFloat(s, 64)
			return s, err == nil && back == v
		}
	}
	return "0", false
}
