package dicomweb

import (
	"net/http"
	"strconv"

	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// Reason is a warning or failure reason of the Store Instances Response Module (PS3.18 annex I).
type Reason uint16

// The reasons there are. No others are sent.
const (
	// NoReport: kept on stable storage, but no usable dose report.
	NoReport Reason = 0xB007
	// NoResources: disk or database take nothing now.
	NoResources Reason = 0xA700
	// Mismatch: the object is of another study than the request, or its file meta names another object.
	Mismatch Reason = 0xA900
	// NotUnderstood: no DICOM object, without UIDs, or over a limit.
	NotUnderstood Reason = 0xC000
)

// reasons says what each reason means.
func reasons() []ReasonFact {
	return []ReasonFact{
		{NoReport, "warning", "Kept on stable storage, but no usable dose report: another SOP class, another kind of dose report, or not readable beyond its UIDs. It waits for a person."},
		{NoResources, "failure", "Disk or database take nothing now, or the request holds more than is accepted at once. Not kept: send it again."},
		{Mismatch, "failure", "The object is of another study than the request's path, or its file meta names another SOP class or instance than the data set. Not kept."},
		{NotUnderstood, "failure", "No DICOM object, without SOP class and instance UID, over a limit of size or structure, a part of another media type, or a body that ended early. Not kept."},
	}
}

// result is what became of one part.
type result struct {
	class, instance, study, series string
	reason                         Reason // 0 is success
	mediaType, tooLarge            bool   // why it was not understood
}

func (r result) kept() bool { return r.reason == 0 || r.reason == NoReport }

// outcome is what became of a request.
type outcome struct {
	results []result
}

func (o *outcome) add(r result) { o.results = append(o.results, r) }

// every tells whether something holds for every result.
func (o *outcome) every(holds func(result) bool) bool {
	for _, r := range o.results {
		if !holds(r) {
			return false
		}
	}
	return true
}

// status gives the HTTP status (PS3.18 table 10.5.3-1). There is at least one result.
func (o *outcome) status() int {
	is := func(reason Reason) func(result) bool { return func(r result) bool { return r.reason == reason } }
	not := func(holds func(result) bool) func(result) bool { return func(r result) bool { return !holds(r) } }
	switch {
	case o.every(is(0)):
		return http.StatusOK
	case !o.every(not(result.kept)):
		return http.StatusAccepted
	case !o.every(not(is(NoResources))):
		return http.StatusServiceUnavailable
	case o.every(func(r result) bool { return r.mediaType }):
		return http.StatusUnsupportedMediaType
	case o.every(func(r result) bool { return r.tooLarge }):
		return http.StatusRequestEntityTooLarge
	case o.every(is(NotUnderstood)):
		return http.StatusBadRequest
	}
	return http.StatusConflict
}

// The attributes of the answer.
const (
	tagReferencedSOPClass    dicomio.Tag = 0x00081150
	tagReferencedSOPInstance dicomio.Tag = 0x00081155
	tagRetrieveURL           dicomio.Tag = 0x00081190
	tagWarningReason         dicomio.Tag = 0x00081196
	tagFailureReason         dicomio.Tag = 0x00081197
	tagFailedSOP             dicomio.Tag = 0x00081198
	tagReferencedSOP         dicomio.Tag = 0x00081199
	tagOtherFailures         dicomio.Tag = 0x0008119A
)

func text(t dicomio.Tag, vr, value string) dicomio.Element {
	e := dicomio.Element{Tag: t, VR: vr}
	if value != "" {
		e.Values = []string{value}
	}
	return e
}

func (r Reason) element(t dicomio.Tag) dicomio.Element { return text(t, "US", strconv.Itoa(int(r))) }

// dataSet gives the Store Instances Response Module. place gives the URL of a study or an instance.
func (o *outcome) dataSet(place func(uids ...string) string) dicomio.DataSet {
	var referenced, failed, other []dicomio.DataSet
	study, several := "", false
	for _, r := range o.results {
		item := dicomio.DataSet{text(tagReferencedSOPClass, "UI", r.class), text(tagReferencedSOPInstance, "UI", r.instance)}
		switch {
		case r.reason == 0:
			several = several || study != "" && study != r.study
			study = r.study
			url := ""
			if isUID(r.study) && isUID(r.series) {
				url = place(r.study, r.series, r.instance)
			}
			referenced = append(referenced, append(item, text(tagRetrieveURL, "UR", url)))
		case r.kept():
			// What waits in quarantine cannot be retrieved, so that its URL is empty.
			referenced = append(referenced, append(item, text(tagRetrieveURL, "UR", ""), r.reason.element(tagWarningReason)))
		case isUID(r.class) && isUID(r.instance):
			failed = append(failed, append(item, r.reason.element(tagFailureReason)))
		default:
			other = append(other, dicomio.DataSet{r.reason.element(tagFailureReason)})
		}
	}
	var d dicomio.DataSet
	if isUID(study) && !several {
		d = append(d, text(tagRetrieveURL, "UR", place(study)))
	}
	for _, s := range []struct {
		tag   dicomio.Tag
		items []dicomio.DataSet
	}{{tagFailedSOP, failed}, {tagReferencedSOP, referenced}, {tagOtherFailures, other}} {
		if len(s.items) > 0 {
			d = append(d, dicomio.Element{Tag: s.tag, VR: "SQ", Items: s.items})
		}
	}
	return d
}

// of names a result by its receipt.
func of(r store.Receipt, series string) result {
	one := result{class: r.SOPClass, instance: r.SOPInstance, study: r.StudyUID, series: series}
	if r.State == store.ReceiptQuarantined || r.State == store.ReceiptDiscarded {
		one.reason = NoReport
	}
	return one
}
