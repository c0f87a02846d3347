package release

import (
	"strings"

	"afterbeam/internal/report/dicomio"
)

// header makes the attributes of the top, but for the content tree and the method. Those that the modules of a dose report want
// stand in any case, empty where they may be.
func (w *work) header() dicomio.DataSet {
	patient := w.p.Patient(w.subject.Patient)
	set := dicomio.DataSet{
		element(tagCharacterSet, "CS", "ISO_IR 192"),
		element(tagSOPClass, "UI", trimmed(w.in, tagSOPClass)),
		w.uid(tagSOPInstance), w.uid(tagStudy), w.uid(tagSeries),
		w.date(tagStudyDate), w.time(tagStudyTime), w.date(tagContentDate), w.time(tagContentTime),
		element(tagAccession, "SH", ""),
		element(tagModality, "CS", "SR"),
		element(tagReferringPhysician, "PN", ""),
		sequence(tagReferencedStep),
		element(tagPatientName, "PN", patient),
		element(tagPatientID, "LO", patient),
		element(tagBirthDate, "DA", ""),
		element(tagStudyID, "SH", ""),
		element(tagSeriesNumber, "IS", "1"),
		element(tagInstanceNumber, "IS", "1"),
		sequence(tagPerformedCodes),
		element(tagCompletion, "CS", oneOf(trimmed(w.in, tagCompletion), "COMPLETE", "PARTIAL")),
		element(tagVerification, "CS", "UNVERIFIED"),
	}
	for _, e := range []dicomio.Element{w.date(tagSeriesDate), w.time(tagSeriesTime), element(tagZoneOffset, "SH", w.zone())} {
		if len(e.Values) > 0 {
			set = append(set, e)
		}
	}
	return append(append(set, w.equipment()...), w.characteristics()...)
}

// oneOf gives a value if it is one of those, else the last.
func oneOf(value string, of ...string) string {
	for _, one := range of {
		if value == one {
			return value
		}
	}
	return of[len(of)-1]
}

func (w *work) uid(tag dicomio.Tag) dicomio.Element {
	return element(tag, "UI", w.p.UID(trimmed(w.in, tag)))
}

func (w *work) date(tag dicomio.Tag) dicomio.Element {
	return element(tag, "DA", daysBack(w.in.Text(tag), w.days))
}

func (w *work) time(tag dicomio.Tag) dicomio.Element {
	return element(tag, "TM", clockTime(w.in.Text(tag)))
}

// zone keeps the offset from UTC: without it the intervals between times with and without one of their own would change.
func (w *work) zone() string {
	s := trimmed(w.in, tagZoneOffset)
	if !offsetPattern.MatchString(s) {
		return ""
	}
	return s
}

// equipment makes what stays of the device.
func (w *work) equipment() dicomio.DataSet {
	number := w.device()
	if w.o.Device == DeviceIdentity {
		number = w.plain(w.in.Text(tagSerial))
	}
	set := dicomio.DataSet{
		element(tagManufacturer, "LO", w.makeOf(w.in.Text(tagManufacturer))),
		element(tagModel, "LO", w.makeOf(w.in.Text(tagModel))),
		element(tagSerial, "LO", number),
		element(tagSoftware, "LO", removed),
	}
	if software, ok := w.in.Find(tagSoftware); ok && w.o.Device != DevicePseudonym {
		e := dicomio.Element{Tag: tagSoftware, VR: "LO"}
		for _, v := range software.Values {
			e.Values = append(e.Values, w.plain(v))
		}
		set[len(set)-1] = e
	}
	if station := trimmed(w.in, tagStation); station != "" && w.o.Device == DeviceIdentity {
		set = append(set, element(tagStation, "SH", w.plain(station)))
	}
	return set
}

// device is the pseudonym of the device.
func (w *work) device() string { return w.p.Device(w.subject.Device) }

// makeOf gives a text about the make of a device, by option.
func (w *work) makeOf(text string) string {
	if w.o.Device == DevicePseudonym {
		return removed
	}
	return w.plain(text)
}

// plain gives a text that an option keeps, unless it is empty or holds a word that tells who somebody is.
func (w *work) plain(text string) string {
	text = strings.TrimSpace(text)
	if text == "" || w.telling.in(text) {
		return removed
	}
	return text
}

// method makes the attributes that say what was done.
func (w *work) method() dicomio.DataSet {
	codes := make([]dicomio.DataSet, 0, len(w.o.Codes()))
	for _, c := range w.o.Codes() {
		codes = append(codes, code(c.Value, "DCM", c.Meaning))
	}
	return dicomio.DataSet{
		element(tagIdentityRemoved, "CS", "YES"),
		element(tagMethod, "LO", Method),
		sequence(tagMethodCodes, codes...),
		element(tagTimeModified, "CS", "MODIFIED"),
	}
}
