package dicomweb

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// level is what a search lists.
type level uint8

const (
	studyLevel level = iota
	seriesLevel
	instanceLevel
)

// The sizes of a page of results. Each result is read from its object, so that a page is small.
const (
	defaultResults = 100
	mostResults    = 200
)

// key is an attribute that a search may be narrowed by, at its level and at those below.
type key struct {
	tag   dicomio.Tag
	name  string
	level level
	form  string
	set   func(q *query, value string) bool
}

// keys lists the matching keys.
func keys() []key {
	const list = "one UID, or several with commas between them"
	return []key{
		{0x0020000D, "StudyInstanceUID", studyLevel, list, func(q *query, v string) bool { return uids(&q.filter.Studies, v) }},
		{0x00080020, "StudyDate", studyLevel, "a day yyyymmdd, or a range of days with a hyphen, open or closed", (*query).days},
		{0x00080061, "ModalitiesInStudy", studyLevel, "a modality; kept reports are SR", (*query).modality},
		{0x0020000E, "SeriesInstanceUID", seriesLevel, list, func(q *query, v string) bool { return uids(&q.filter.Series, v) }},
		{0x00080060, "Modality", seriesLevel, "a modality; kept reports are SR", (*query).modality},
		{0x00080018, "SOPInstanceUID", instanceLevel, list, func(q *query, v string) bool { return uids(&q.filter.Instances, v) }},
		{0x00080016, "SOPClassUID", instanceLevel, list, func(q *query, v string) bool { return uids(&q.filter.Classes, v) }},
	}
}

// identifiers lists the attributes that tell who the patient is, or name an order of one. URLs come into logs, histories
// and proxies, so that these never stand in one.
func identifiers() []string {
	return []string{
		"PatientName", "PatientID", "IssuerOfPatientID", "PatientBirthDate", "PatientBirthTime", "OtherPatientIDs", "OtherPatientNames",
		"OtherPatientIDsSequence", "PatientBirthName", "PatientMotherBirthName", "PatientAddress", "PatientTelephoneNumbers", "MedicalRecordLocator",
		"AccessionNumber", "AdmissionID", "StudyID", "ReferringPhysicianName", "RequestAttributesSequence",
	}
}

const identifierRefused = "a patient's identifier or an order's number never stands in a URL here: find the patient by POST /v1/patients/search, " +
	"then search by StudyInstanceUID"

// query is a search as asked for.
type query struct {
	level   level
	filter  store.InstanceFilter
	nothing bool // asks for what no kept report is
	all     bool // every attribute of the header
	include []dicomio.Tag
	fuzzy   bool
}

// parseQuery reads the query part of a URL. Whatever is not known is refused: a misspelt key would show more than was
// asked for.
func parseQuery(l level, raw string) (query, error) {
	q := query{level: l, filter: store.InstanceFilter{Limit: defaultResults}}
	values, err := url.ParseQuery(raw)
	if err != nil {
		return q, refuse(store.ErrInvalid, "the query is not well formed")
	}
	for _, name := range slices.Sorted(mapKeys(values)) {
		if name == "includefield" {
			err = q.includes(values[name])
		} else if len(values[name]) != 1 {
			err = refuse(store.ErrInvalid, "a query parameter other than includefield is given more than once")
		} else {
			err = q.take(name, values[name][0])
		}
		if err != nil {
			return q, err
		}
	}
	return q, nil
}

func mapKeys(v url.Values) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		for name := range v {
			if !yield(name) {
				return
			}
		}
	}
}

// take takes one parameter.
func (q *query) take(name, value string) error {
	switch name {
	case "limit":
		n, err := strconv.ParseUint(value, 10, 31)
		if err != nil || n == 0 {
			return refuse(store.ErrInvalid, "limit is no positive number")
		}
		q.filter.Limit = int(min(n, mostResults))
		return nil
	case "offset":
		n, err := strconv.ParseUint(value, 10, 31)
		if err != nil {
			return refuse(store.ErrInvalid, "offset is no number")
		}
		q.filter.Offset = int(n)
		return nil
	case "fuzzymatching":
		if value != "true" && value != "false" {
			return refuse(store.ErrInvalid, "fuzzymatching is true or false")
		}
		q.fuzzy = value == "true"
		return nil
	}
	return q.match(name, value)
}

// match takes a matching key by keyword or by tag.
func (q *query) match(name, value string) error {
	tag, ok := attribute(name)
	if first, _, inside := strings.Cut(name, "."); inside {
		tag, ok = attribute(first)
	}
	if ok && isIdentifier(tag) {
		return refuse(store.ErrInvalid, identifierRefused)
	}
	var known []string
	for _, k := range keys() {
		if k.level > q.level {
			continue
		}
		known = append(known, k.name)
		if !ok || k.tag != tag || strings.Contains(name, ".") {
			continue
		}
		if value != "" && !k.set(q, value) { // an empty value matches everything (PS3.4, C.2.2.2.3)
			return refuse(store.ErrInvalid, k.name+" wants "+k.form)
		}
		return nil
	}
	return refuse(store.ErrInvalid, "a query parameter is no key that can be searched by here; known are "+strings.Join(known, ", ")+
		", includefield, limit, offset, fuzzymatching")
}

// attribute reads a keyword or eight hexadecimal digits.
func attribute(name string) (dicomio.Tag, bool) {
	if len(name) == 8 {
		if n, err := strconv.ParseUint(name, 16, 32); err == nil {
			return dicomio.Tag(n), true
		}
	}
	t, _, ok := dicomio.Named(name)
	return t, ok
}

func isIdentifier(t dicomio.Tag) bool { return slices.Contains(identifiers(), dicomio.Keyword(t)) }

// includes takes the attributes that are asked for besides.
func (q *query) includes(lists []string) error {
	for _, name := range strings.Split(strings.Join(lists, ","), ",") {
		switch tag, ok := attribute(name); {
		case name == "all":
			q.all = true
		case !ok || strings.Contains(name, "."):
			return refuse(store.ErrInvalid, "includefield names something that is no attribute of the standard")
		case tag == tagContent:
			return refuse(store.ErrInvalid, "the content tree is no result of a search; ask for the metadata of the instance")
		case !slices.Contains(q.include, tag):
			q.include = append(q.include, tag)
		}
	}
	return nil
}

const tagContent dicomio.Tag = 0x0040A730

// uids takes a list of UIDs.
func uids(to *[]string, value string) bool {
	all := strings.FieldsFunc(value, func(c rune) bool { return c == ',' || c == '\\' })
	for _, uid := range all {
		if !isUID(uid) {
			return false
		}
	}
	*to = all
	return len(all) > 0 && len(all) <= mostResults
}

// days takes a day or a range (PS3.4, C.2.2.2.5).
func (q *query) days(value string) bool {
	from, to, isRange := strings.Cut(value, "-")
	if !isRange {
		to = from
	}
	for _, day := range []string{from, to} {
		if _, err := time.Parse("20060102", day); err != nil && (day != "" || !isRange) {
			return false
		}
	}
	q.filter.FromDate, q.filter.ToDate = from, to
	return from != "" || to != ""
}

// modality takes a modality: dose reports are SR, and nothing else is kept to be found.
func (q *query) modality(value string) bool {
	all := strings.FieldsFunc(value, func(c rune) bool { return c == ',' || c == '\\' })
	for _, one := range all {
		if len(one) > 16 {
			return false
		}
	}
	if !slices.Contains(all, "SR") {
		q.nothing = true
	}
	return len(all) > 0
}
