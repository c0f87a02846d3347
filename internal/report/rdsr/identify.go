package rdsr

import (
	"fmt"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/notebook"
)

const tagMediaClass dicomio.Tag = 0x00020002

// identify decides whether the object is a projection X-ray dose report, and reads its UIDs and its tree.
func (r *reader) identify() error {
	class, err := r.class()
	if err != nil {
		return err
	}
	instance, ok := r.uid(tagSOPInstance)
	if !ok {
		return fmt.Errorf("%w: (0008,0018) %s, digits and dots expected", ErrNoInstance, emptyOrNot(instance))
	}
	r.report.SOPClassUID, r.report.SOPInstanceUID = class, instance
	if err := r.findTree(); err != nil {
		return fmt.Errorf("report %s: %w", instance, err)
	}
	study, ok := r.uid(tagStudy)
	if !ok {
		return fmt.Errorf("report %s: %w: (0020,000D) %s, digits and dots expected", instance, ErrNoStudy, emptyOrNot(study))
	}
	r.report.StudyUID = study
	series, ok := r.uid(tagSeries)
	if !ok {
		r.notes.Add("series-uid", procedure.Note, notebook.Place{}, "no usable Series Instance UID in (0020,000E)")
		series = ""
	}
	r.report.SeriesUID = series
	return nil
}

// emptyOrNot tells what is wrong with a UID without repeating it: it might be anything, even a name.
func emptyOrNot(uid string) string {
	if uid == "" {
		return "is empty"
	}
	return "holds other characters or too many"
}

// class gives the SOP class, or the refusal of one that is no dose report of this kind.
func (r *reader) class() (string, error) {
	class, ok := r.uid(tagSOPClass)
	if !ok {
		class = strings.TrimSpace(r.file.Meta.Text(tagMediaClass))
	}
	general, err := judgeClass(class)
	if err != nil {
		return "", err
	}
	if general {
		r.notes.Add("sop-class", procedure.Note, notebook.Place{}, "the report is kept in a general SR class; its tree is read all the same")
	}
	return class, nil
}

// className names the SOP classes that are most likely sent by mistake.
// Source: NEMA, DICOM PS3.6 table A-1, known from memory.
func className(uid string) string {
	names := map[string]string{
		"1.2.840.10008.5.1.4.1.1.1":      "Computed Radiography Image Storage",
		"1.2.840.10008.5.1.4.1.1.1.1":    "Digital X-Ray Image Storage - For Presentation",
		"1.2.840.10008.5.1.4.1.1.2":      "CT Image Storage",
		"1.2.840.10008.5.1.4.1.1.4":      "MR Image Storage",
		"1.2.840.10008.5.1.4.1.1.6.1":    "Ultrasound Image Storage",
		"1.2.840.10008.5.1.4.1.1.7":      "Secondary Capture Image Storage",
		"1.2.840.10008.5.1.4.1.1.12.1":   "X-Ray Angiographic Image Storage",
		"1.2.840.10008.5.1.4.1.1.12.1.1": "Enhanced XA Image Storage",
		"1.2.840.10008.5.1.4.1.1.12.2":   "X-Ray Radiofluoroscopic Image Storage",
		"1.2.840.10008.5.1.4.1.1.13.1.1": "X-Ray 3D Angiographic Image Storage",
		"1.2.840.10008.5.1.4.1.1.11.1":   "Grayscale Softcopy Presentation State Storage",
		"1.2.840.10008.5.1.4.1.1.88.11":  "Basic Text SR Storage",
		"1.2.840.10008.5.1.4.1.1.88.59":  "Key Object Selection Document Storage",
		"1.2.840.10008.5.1.4.1.1.104.1":  "Encapsulated PDF Storage",
		"1.2.840.10008.1.3.10":           "Media Storage Directory Storage",
		"1.2.840.10008.3.1.2.3.3":        "Modality Performed Procedure Step",
		"1.2.840.10008.5.1.4.1.1.481.5":  "RT Plan Storage",
		"1.2.840.10008.5.1.4.1.1.1.2":    "Digital Mammography X-Ray Image Storage - For Presentation",
		"1.2.840.10008.5.1.4.1.1.88.50":  "Mammography CAD SR Storage",
		"1.2.840.10008.5.1.4.1.1.88.40":  "Procedure Log Storage",
		"1.2.840.10008.5.1.4.1.1.9.2.1":  "Hemodynamic Waveform Storage",
		"1.2.840.10008.5.1.4.1.1.9.1.1":  "12-lead ECG Waveform Storage",
		"1.2.840.10008.5.1.4.1.1.1.1.1":  "Digital X-Ray Image Storage - For Processing",
		"1.2.840.10008.5.1.4.1.1.2.1":    "Enhanced CT Image Storage",
		"1.2.840.10008.5.1.4.1.1.12.2.1": "Enhanced XRF Image Storage",
	}
	if name, ok := names[uid]; ok {
		return name + " (" + uid + ")"
	}
	if !validUID(uid) {
		return shown(uid)
	}
	return uid
}

// findTree reads the content tree and refuses one that is no projection X-ray dose report.
func (r *reader) findTree() error {
	private := 0
	r.tree = item{kind: "CONTAINER", name: codeAt(r.set, tagConceptName), set: r.set, items: tree(r.set, &private)}
	template := r.templateID()
	if err := r.otherModality(template); err != nil {
		return err
	}
	title := r.tree.name
	if !title.Is("113701", "DCM") {
		found := "no document title"
		if !title.IsZero() {
			found = fmt.Sprintf("document title %s of scheme %s", shown(title.Value), shown(title.Scheme))
		}
		return fmt.Errorf("%w: %s found, (113701, DCM) expected", ErrNoDoseTree, found)
	}
	if !r.hasDose() {
		return fmt.Errorf("%w: neither accumulated dose (113702, DCM) nor irradiation events (113706, DCM) found", ErrNoDoseTree)
	}
	if template != "10001" {
		r.notes.Addf("template", procedure.Note, notebook.Place{}, "template %s found, 10001 expected; the tree is read as TID 10001", shown(template))
	}
	if private > 0 {
		r.notes.Addf("private-content", procedure.Note, notebook.Place{}, "%d private content items left out with all inside", private)
	}
	return nil
}

func (r *reader) hasDose() bool {
	for _, it := range r.tree.items {
		if it.kind == "CONTAINER" && (it.name.Is("113702", "DCM") || it.name.Is("113706", "DCM")) {
			return true
		}
	}
	return false
}

func (r *reader) templateID() string {
	for _, t := range r.set.Items(tagTemplate) {
		return strings.TrimSpace(t.Text(tagTemplateID))
	}
	return ""
}

// otherModality refuses dose reports of CT and mammography by name, by the procedure reported, the template or the
// containers that only they have.
func (r *reader) otherModality(template string) error {
	reported := procedure.Code{}
	if it, ok := r.tree.first(conceptProcedure()); ok {
		reported = it.code()
	}
	const expected = "projection X-ray (113704, DCM) expected"
	switch {
	case reported.Is("77477000", "SCT"):
		return fmt.Errorf("%w: procedure reported is computed tomography, %s", ErrCT, expected)
	case template == "10011":
		return fmt.Errorf("%w: template 10011 found, template 10001 expected", ErrCT)
	case reported.Is("71651007", "SCT"):
		return fmt.Errorf("%w: procedure reported is mammography, %s", ErrMammography, expected)
	}
	for _, it := range r.tree.items {
		if it.name.Is("113811", "DCM") || it.name.Is("113819", "DCM") {
			return fmt.Errorf("%w: container %s of TID 10011 found, %s", ErrCT, shown(it.name.Value), expected)
		}
	}
	return nil
}
