package rdsr

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

// ErrUnwritable is a Report that lacks what every dose report must have.
var ErrUnwritable = errors.New("report cannot be written")

// WriteOptions are the settings of Write. The zero WriteOptions write explicit little endian and current codes.
type WriteOptions struct {
	// TransferSyntax is a UID, "" is explicit VR little endian.
	TransferSyntax string
	CodeGeneration CodeGeneration
}

// Write writes a report as an X-Ray Radiation Dose SR (TID 10001) with file meta information. UIDs are those of the
// report; study and instance UID must be there (ErrUnwritable). A mandatory number that the report lacks is written
// without a measured value, qualifier "Value unknown". Findings are not written, and the object is unverified.
func Write(w io.Writer, r *procedure.Report, opt WriteOptions) error {
	if !validUID(r.SOPInstanceUID) || !validUID(r.StudyUID) || !validUID(r.SeriesUID) {
		return fmt.Errorf("%w: proper uids of study, series and instance expected", ErrUnwritable)
	}
	if opt.TransferSyntax == "" {
		opt.TransferSyntax = dicomio.ExplicitLittleEndian
	}
	if err := dicomio.Write(w, DataSet(r, opt), opt.TransferSyntax); err != nil {
		return fmt.Errorf("write report %s: %w", r.SOPInstanceUID, err)
	}
	return nil
}

// DataSet gives the data set that Write writes.
func DataSet(r *procedure.Report, opt WriteOptions) dicomio.DataSet {
	w := &writer{nodes: nodes{opt.CodeGeneration}, report: r}
	if r.Content.Offset == procedure.OffsetOfDataSet || r.Content.Offset == procedure.OffsetInValue {
		w.zone = r.Content.Time.Format("-0700")
	}
	set := append(w.general(), w.patientSet()...)
	set = append(set, w.studySet()...)
	set = append(set, w.equipmentSet()...)
	set = append(set, w.evidenceSet()...)
	set = append(set, w.root()...)
	return sorted(set)
}

// writer is the state of writing one report.
type writer struct {
	nodes
	report *procedure.Report
	zone   string // offset from UTC of the data set, or ""
}

// general makes the SOP Common, SR Document Series and SR Document General modules.
func (w *writer) general() dicomio.DataSet {
	r := w.report
	completion := "PARTIAL"
	if r.Complete {
		completion = "COMPLETE"
	}
	day, clockTime := dateAndTime(r.Content)
	set := dicomio.DataSet{
		element(tagCharacterSet, "CS", "ISO_IR 192"),
		element(tagSOPClass, "UI", classDose),
		element(tagSOPInstance, "UI", r.SOPInstanceUID),
		element(tagContentDate, "DA", day),
		element(tagContentTime, "TM", clockTime),
		element(tagModality, "CS", "SR"),
		element(tagSeries, "UI", r.SeriesUID),
		element(tagSeriesNumber, "IS", "1"),
		element(tagInstanceNumber, "IS", "1"),
		sequence(tagReferencedStep),
		sequence(tagPerformedCodes),
		element(tagCompletion, "CS", completion),
		element(tagVerification, "CS", "UNVERIFIED"),
	}
	if w.zone != "" {
		set = append(set, element(tagZoneOffset, "SH", w.zone))
	}
	return set
}

func (w *writer) patientSet() dicomio.DataSet {
	p := w.report.Patient
	set := dicomio.DataSet{
		element(tagPatientName, "PN", p.Name),
		element(tagPatientID, "LO", p.ID),
		element(tagBirthDate, "DA", strings.ReplaceAll(p.BirthDate, "-", "")),
		element(tagSex, "CS", p.Sex),
	}
	if p.Issuer != "" {
		set = append(set, element(tagIssuer, "LO", p.Issuer))
	}
	if years, ok := p.AgeYears.Get(); ok && p.BirthDate == "" {
		set = append(set, element(tagAge, "AS", ageString(years)))
	}
	if height, ok := p.Height.Get(); ok {
		text, _ := decimalString(float64(height / quantity.Metre))
		set = append(set, element(tagHeight, "DS", text))
	}
	if weight, ok := p.Weight.Get(); ok {
		text, _ := decimalString(float64(weight))
		set = append(set, element(tagWeight, "DS", text))
	}
	if p.Pregnancy != 0 {
		set = append(set, element(tagPregnancy, "US", strconv.Itoa(p.Pregnancy)))
	}
	return set
}

// ageString writes an age in years, in months under two years (PS3.5 AS).
func ageString(years float64) string {
	if years < 2 {
		return fmt.Sprintf("%03dM", int(math.Round(years*monthsPerYear)))
	}
	return fmt.Sprintf("%03dY", int(years))
}

func (w *writer) studySet() dicomio.DataSet {
	s := w.report.Study
	day, clockTime := dateAndTime(s.Date)
	if s.Date.DateOnly {
		clockTime = ""
	}
	set := dicomio.DataSet{
		element(tagStudy, "UI", w.report.StudyUID),
		element(tagStudyDate, "DA", day),
		element(tagStudyTime, "TM", clockTime),
		element(tagReferringPhysician, "PN"),
		element(tagStudyID, "SH"),
		element(tagAccession, "SH", s.AccessionNumber),
	}
	if s.Description != "" {
		set = append(set, element(tagStudyDescription, "LO", s.Description))
	}
	if codes := w.codes(s.ProcedureCodes); len(codes) > 0 {
		set = append(set, sequence(tagProcedureCodes, codes...))
	}
	if s.Performed != "" {
		// The description goes with its request (PS3.3 C.17.2): the SR document has no place for it of its own.
		set = append(set, sequence(tagReferencedRequest, sorted(dicomio.DataSet{
			element(tagAccession, "SH", s.AccessionNumber),
			sequence(tagReferencedStudy),
			element(tagStudy, "UI", w.report.StudyUID),
			element(tagRequestedProcedure, "LO", s.Performed),
			sequence(tagRequestedCodes),
			element(tagRequestedID, "SH"),
			element(tagPlacerNumber, "LO"),
			element(tagFillerNumber, "LO"),
		})))
	}
	return set
}

func (w *writer) codes(list []procedure.Code) []dicomio.DataSet {
	var out []dicomio.DataSet
	for _, c := range list {
		out = append(out, w.code(c))
	}
	return out
}

func (w *writer) equipmentSet() dicomio.DataSet {
	d := w.report.Device
	set := dicomio.DataSet{
		element(tagManufacturer, "LO", d.Manufacturer),
		element(tagModel, "LO", d.Model),
		element(tagSerial, "LO", d.Serial),
		element(tagSoftware, "LO", d.Software),
	}
	if d.Station != "" {
		set = append(set, element(tagStation, "SH", d.Station))
	}
	if name := w.report.Study.Institution; name != "" {
		set = append(set, element(tagInstitution, "LO", name))
	}
	return set
}

// dateTime writes a DT value; the offset stands in it unless the data set's is the same.
func (w *writer) dateTime(m procedure.Moment) string {
	layout := "20060102150405.000000"
	if m.Time.Nanosecond() == 0 {
		layout = "20060102150405"
	}
	if m.DateOnly {
		layout = "20060102"
	}
	text := m.Time.Format(layout)
	own := m.Time.Format("-0700")
	if m.Offset == procedure.OffsetInValue || (m.Offset == procedure.OffsetOfDataSet && own != w.zone) {
		text += own
	}
	return text
}

func dateAndTime(m procedure.Moment) (day, clockTime string) {
	if m.IsZero() {
		return "", ""
	}
	layout := "150405.000000"
	if m.Time.Nanosecond() == 0 {
		layout = "150405"
	}
	return m.Time.Format("20060102"), m.Time.Format(layout)
}
