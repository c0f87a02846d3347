package rdsr

import (
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
)

// item is one content item of the tree, its name in the current code generation.
type item struct {
	relation string
	kind     string // value type
	name     procedure.Code
	set      dicomio.DataSet
	items    []item
}

// tree reads the content items below a data set. Private items (a coding scheme 99...) are left out with everything
// inside, since they may repeat standard concepts with another meaning; their number is counted.
func tree(set dicomio.DataSet, private *int) []item {
	var out []item
	for _, sub := range set.Items(tagContent) {
		name := codeAt(sub, tagConceptName)
		if isPrivate(name) {
			*private++
			continue
		}
		out = append(out, item{
			relation: strings.ToUpper(strings.TrimSpace(sub.Text(tagRelationship))),
			kind:     strings.ToUpper(strings.TrimSpace(sub.Text(tagValueType))),
			name:     name,
			set:      sub,
			items:    tree(sub, private),
		})
	}
	return out
}

func isPrivate(c procedure.Code) bool { return strings.HasPrefix(c.Scheme, "99") }

// first gives the first direct child with the concept.
func (it item) first(concept procedure.Code) (item, bool) {
	for _, sub := range it.items {
		if sub.name.Is(concept.Value, concept.Scheme) {
			return sub, true
		}
	}
	return item{}, false
}

// code gives the value of a CODE item.
func (it item) code() procedure.Code { return codeAt(it.set, tagCode) }

// text gives the value of a TEXT, UIDREF, PNAME or DATETIME item.
func (it item) text() string {
	for _, tag := range []dicomio.Tag{tagText, tagUID, tagPersonName, tagDateTime, tagDate} {
		if s := strings.TrimSpace(it.set.Text(tag)); s != "" {
			return s
		}
	}
	return ""
}

// codeAt reads the first item of a code sequence, in the current generation of codes.
func codeAt(set dicomio.DataSet, tag dicomio.Tag) procedure.Code {
	items := set.Items(tag)
	if len(items) == 0 {
		return procedure.Code{}
	}
	return readCode(items[0])
}

// readCode reads a code of a code sequence item: Code Value, else Long Code Value, else URN Code Value (PS3.3 8.1, 8.2).
func readCode(set dicomio.DataSet) procedure.Code {
	c := procedure.Code{
		Value:   strings.TrimSpace(set.Text(tagCodeValue)),
		Scheme:  strings.TrimSpace(set.Text(tagCodeScheme)),
		Meaning: strings.TrimSpace(set.Text(tagCodeMeaning)),
	}
	if c.Value == "" {
		c.Value = strings.TrimSpace(set.Text(tagLongCodeValue))
	}
	if c.Value == "" {
		c = fromURN(strings.TrimSpace(set.Text(tagURNCodeValue)), c)
	}
	return theCodes().canonical(c)
}

// schemeOfURN gives the scheme of the URN forms that name the DICOM and SNOMED CT codes.
// Source: NEMA, DICOM PS3.16 section 8, scheme UIDs and resource URLs; SNOMED URI standard; known from memory.
var schemeOfURN = []struct{ prefix, scheme string }{
	{"urn:oid:1.2.840.10008.2.16.4.", "DCM"},
	{"http://dicom.nema.org/resources/ontology/DCM#", "DCM"},
	{"http://dicom.nema.org/resources/ontology/DCM/", "DCM"},
	{"urn:oid:2.16.840.1.113883.6.96.", "SCT"},
	{"http://snomed.info/id/", "SCT"},
	{"http://snomed.info/sct/", "SCT"},
}

func fromURN(urn string, c procedure.Code) procedure.Code {
	for _, known := range schemeOfURN {
		if value, ok := strings.CutPrefix(urn, known.prefix); ok {
			c.Value, c.Scheme = value, known.scheme
			return c
		}
	}
	c.Value = urn
	return c
}
