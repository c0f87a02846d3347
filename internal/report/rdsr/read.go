package rdsr

import (
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/notebook"
	"afterbeam/internal/report/plausible"
	"afterbeam/internal/report/quirk"
)

// Options are the settings of Read.
type Options struct {
	// Limits bound what a file may be; the zero Limits mean dicomio.DefaultLimits.
	Limits dicomio.Limits
	// Site is the zone of times that have no offset of their own, of their data set or of their device.
	Site *time.Location
	// DeviceZone gives the zone of a device, nil when it is not known. It may itself be nil.
	DeviceZone func(procedure.Device) *time.Location
}

// Read reads one dose report. The Report's Findings name all that was odd, missing, repaired or not believed. An object
// that is no projection X-ray dose report is refused with one of the errors of this package; an object that cannot be
// decoded, or is over the limits, with those of dicomio. It keeps no part of data.
func Read(data []byte, opt Options) (*procedure.Report, error) {
	limits := opt.Limits
	if limits == (dicomio.Limits{}) {
		limits = dicomio.DefaultLimits()
	}
	file, err := dicomio.Read(data, limits)
	if err != nil {
		return nil, fmt.Errorf("read dose report: %w", err)
	}
	r := &reader{file: file, set: file.Data, opt: opt, report: &procedure.Report{}}
	if err := r.identify(); err != nil {
		return nil, err
	}
	r.forms()
	r.digests()
	r.header()
	r.root()
	r.headerPersons()
	r.repair()
	return r.report, nil
}

// reader is the state of reading one report.
type reader struct {
	file   *dicomio.File
	set    dicomio.DataSet
	opt    Options
	report *procedure.Report
	notes  notebook.Notebook
	clock  clock
	tree   item
	// evidence holds the images that the header lists, by SOP instance UID.
	evidence map[string]procedure.ImageReference
	// strict tells that children of the item being read must be bound by CONTAINS.
	strict bool

	event       form[procedure.Event]
	eventKids   []childCode
	filter      form[procedure.Filter]
	total       form[procedure.PlaneTotal]
	calibration form[procedure.Calibration]
	top         form[procedure.Report]
}

func (r *reader) forms() {
	r.event = form[procedure.Event]{eventNumbers(), eventCodes(), eventTexts()}
	r.eventKids = eventChildCodes()
	r.filter = form[procedure.Filter]{numbers: filterNumbers(), codes: filterCodes()}
	r.total = form[procedure.PlaneTotal]{numbers: totalNumbers(), codes: totalCodes()}
	r.calibration = form[procedure.Calibration]{calibrationNumbers(), calibrationCodes(), calibrationTexts()}
	r.top = form[procedure.Report]{codes: rootCodes(), texts: rootTexts()}
}

// repair applies the quirks, then looks at what physics allows, and hands all Findings to the report.
func (r *reader) repair() {
	for _, q := range quirk.All() {
		q.Repair(r.report, &r.notes)
	}
	plausible.Check(r.report, &r.notes)
	r.report.Findings = r.notes.Findings()
}

// digests fills the three digests. The content digest covers the content tree without the header, so that equal content
// under another header is recognised.
func (r *reader) digests() {
	r.report.BytesDigest, r.report.DataSetDigest = r.file.BytesDigest, r.file.DataSetDigest
	r.report.TransferSyntax = r.file.TransferSyntax
	var content dicomio.DataSet
	for _, tag := range []dicomio.Tag{tagValueType, tagConceptName, tagContinuity, tagContent} {
		if e, ok := r.set.Find(tag); ok {
			content = append(content, e)
		}
	}
	r.report.ContentDigest = dicomio.Digest(content)
	for _, text := range r.file.Repairs {
		r.notes.Add("encoding", procedure.Repaired, notebook.Place{}, text)
	}
}

// uid reads a UID of the header: digits and dots, at most 64 characters (PS3.5 9.1).
func (r *reader) uid(tag dicomio.Tag) (string, bool) {
	s := strings.TrimSpace(r.set.Text(tag))
	return s, validUID(s)
}

func validUID(s string) bool {
	return s != "" && len(s) <= 64 && strings.Trim(s, "0123456789.") == "" && s[0] != '.' && s[len(s)-1] != '.'
}
