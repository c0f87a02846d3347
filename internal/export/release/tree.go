package release

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
)

// root makes the content tree of the top: document title, template and the items below.
func (w *work) root() dicomio.DataSet {
	title, _ := w.lists.rule("CONTAINER", codeAt(w.in, tagConceptName))
	set := dicomio.DataSet{
		element(tagValueType, "CS", "CONTAINER"),
		sequence(tagConceptName, code("113701", "DCM", title.meaning)),
		element(tagContinuity, "CS", continuity(w.in)),
	}
	if items := w.in.Items(tagTemplate); len(items) > 0 && trimmed(items[0], tagTemplateID) == "10001" {
		set = append(set, sequence(tagTemplate, dicomio.DataSet{element(tagMappingResource, "CS", "DCMR"), element(tagTemplateID, "CS", "10001")}))
	}
	return append(set, w.below(w.in)...)
}

func continuity(set dicomio.DataSet) string {
	return oneOf(trimmed(set, tagContinuity), "CONTINUOUS", "SEPARATE")
}

// below makes the items below an item; none at all makes no sequence.
func (w *work) below(set dicomio.DataSet) dicomio.DataSet {
	var kids []dicomio.DataSet
	for _, sub := range set.Items(tagContent) {
		made, ok := w.item(sub)
		if !ok {
			w.left.Items++
			continue
		}
		kids = append(kids, made)
	}
	if len(kids) == 0 {
		return nil
	}
	return dicomio.DataSet{sequence(tagContent, kids...)}
}

// relations are those of dose reports (PS3.3 C.17.3.2.4).
var relations = []string{"CONTAINS", "HAS OBS CONTEXT", "HAS CONCEPT MOD", "HAS PROPERTIES", "INFERRED FROM", "HAS ACQ CONTEXT"}

// item makes one content item; false when it must not leave.
func (w *work) item(set dicomio.DataSet) (dicomio.DataSet, bool) {
	kind, concept := strings.ToUpper(trimmed(set, tagValueType)), codeAt(set, tagConceptName)
	r, ok := w.lists.rule(kind, concept)
	relation := strings.ToUpper(trimmed(set, tagRelationship))
	if !ok || oneOf(relation, append(relations, "")...) == "" {
		return nil, false
	}
	value, ok := w.value(set, kind, r.do)
	if !ok {
		return nil, false
	}
	out := dicomio.DataSet{
		element(tagRelationship, "CS", relation),
		element(tagValueType, "CS", kind),
		sequence(tagConceptName, code(concept.Value, concept.Scheme, r.meaning)),
	}
	out = append(out, value...)
	return sorted(append(out, w.below(set)...)), true
}

// value makes the value of an item by its type.
func (w *work) value(set dicomio.DataSet, kind string, do action) ([]dicomio.Element, bool) {
	one := func(tag dicomio.Tag, vr, text string) ([]dicomio.Element, bool) {
		return []dicomio.Element{element(tag, vr, text)}, text != ""
	}
	switch kind {
	case "CONTAINER":
		return one(tagContinuity, "CS", continuity(set))
	case "CODE":
		return w.coded(set, do)
	case "NUM":
		return w.measured(set)
	case "DATETIME":
		if do == undate {
			return one(tagDateTime, "DT", noDay)
		}
		return one(tagDateTime, "DT", dateTimeBack(set.Text(tagDateTime), w.days))
	case "UIDREF":
		uid := trimmed(set, tagUID)
		if uid == "" {
			return nil, false
		}
		return one(tagUID, "UI", w.p.UID(uid))
	case "TEXT":
		return one(tagText, "UT", w.text(set.Text(tagText), do))
	case "PNAME":
		return one(tagPersonName, "PN", w.person(set))
	}
	return nil, false
}

// text gives what stands instead of a text; "" leaves the item out.
func (w *work) text(said string, do action) string {
	said = strings.TrimSpace(said)
	identity := w.o.Device == DeviceIdentity
	switch {
	case said == "":
		return ""
	case do == blank:
		return removed
	case do == maker:
		return w.makeOf(said)
	case do == serial && !identity:
		return w.device()
	case do == serial, do == called && identity:
		return w.plain(said)
	}
	return ""
}

// person gives the pseudonym of the person of a PNAME item, known by the identifier below it (113871) or else by name.
func (w *work) person(set dicomio.DataSet) string {
	if w.o.Persons != PersonsPseudonym {
		return ""
	}
	who := procedure.Person{Name: set.Text(tagPersonName)}
	for _, sub := range set.Items(tagContent) {
		switch c := codeAt(sub, tagConceptName); {
		case c.Scheme != "DCM":
		case c.Value == "113871":
			who.ID = sub.Text(tagText)
		case c.Value == "113872":
			who.Issuer = sub.Text(tagText)
		}
	}
	return w.p.Person(who)
}

// coded makes the value of a CODE item, if it is known, with our text for it. What says that an observer is a person, and in
// which role, goes with the persons.
func (w *work) coded(set dicomio.DataSet, do action) ([]dicomio.Element, bool) {
	value := codeAt(set, tagConceptCode)
	meaning, ok := w.lists.value(value)
	if !ok {
		return nil, false
	}
	device := value.Value == "121007" && value.Scheme == "DCM"
	if do == observer && !device && w.o.Persons != PersonsPseudonym {
		return nil, false
	}
	return []dicomio.Element{sequence(tagConceptCode, code(value.Value, value.Scheme, meaning))}, true
}

var numberPattern = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

// isNumber tells whether a text is a decimal string (PS3.5 DS).
func isNumber(text string) bool { return len(text) <= 16 && numberPattern.MatchString(text) }

// measured makes the value of a NUM item: the digits as they came and a known unit, or none with a known reason.
func (w *work) measured(set dicomio.DataSet) ([]dicomio.Element, bool) {
	made := []dicomio.Element{sequence(tagMeasured)}
	if why := codeAt(set, tagQualifier); why.Value != "" {
		if meaning, ok := w.lists.value(why); ok {
			made = append(made, sequence(tagQualifier, code(why.Value, why.Scheme, meaning)))
		}
	}
	items := set.Items(tagMeasured)
	if len(items) == 0 {
		return made, true
	}
	text, unit := trimmed(items[0], tagNumber), codeAt(items[0], tagUnits)
	if !isNumber(text) || unit.Scheme != "UCUM" || !knownUnit(unit.Value) {
		w.left.Numbers++
		return nil, false
	}
	value := dicomio.DataSet{sequence(tagUnits, code(unit.Value, "UCUM", unit.Value)), element(tagNumber, "DS", text)}
	if exact, ok := items[0].Find(tagFloat); ok && len(exact.Floats) == 1 && same(exact.Floats[0], text) {
		v := exact.Floats[0]
		value = append(value, dicomio.Element{Tag: tagFloat, VR: "FD", Values: []string{strconv.FormatFloat(v, 'g', -1, 64)}, Floats: []float64{v}})
	}
	made[0] = sequence(tagMeasured, sorted(value))
	return made, true
}

// same tells whether an exact value is the one that the digits give in short; any other could carry anything.
func same(exact float64, digits string) bool {
	const roundingOfDigits = 1e-6
	v, err := strconv.ParseFloat(digits, 64)
	return err == nil && math.Abs(exact-v) <= roundingOfDigits*math.Abs(v)
}
