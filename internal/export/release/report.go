package release

import (
	"bytes"
	"errors"
	"fmt"

	"afterbeam/internal/report/dicomio"
)

// ErrNotDose is a data set that is no X-ray radiation dose report.
var ErrNotDose = errors.New("not an X-ray radiation dose report")

// Subject says whom a report is about, in names of whoever releases it: the same patient and device of several reports have
// the same. They are hashed and stand nowhere.
type Subject struct{ Patient, Device string }

// Left counts what a report held that its released form does not.
type Left struct {
	// Attributes are those of the header, and Items those of the content tree with all below them.
	Attributes, Items int
	// Numbers are the NUM items among Items that are on the list but had no number or no known unit.
	Numbers int
}

// Released is a report as it may leave.
type Released struct {
	Data  dicomio.DataSet
	Bytes []byte // a Part 10 file in explicit VR little endian
	UID   string // the SOP instance
	Left  Left
}

// work is one report on its way.
type work struct {
	in      dicomio.DataSet
	subject Subject
	p       Pseudonyms
	o       Options
	days    int // back
	lists   allowed
	telling words
	left    Left
}

// Report makes the released form of a dose report.
func Report(in dicomio.DataSet, s Subject, p Pseudonyms, o Options) (Released, error) {
	if err := o.Validate(); err != nil {
		return Released{}, err
	}
	if len(p.key) != KeySize {
		return Released{}, ErrKey
	}
	if !isDose(in) {
		return Released{}, ErrNotDose
	}
	w := &work{in: in, subject: s, p: p, o: o, days: p.DaysBack(s.Patient), lists: theLists(), telling: tellingWords(in)}
	out := w.header()
	out = append(out, w.root()...)
	out = append(out, w.method()...)
	out = sorted(out)
	w.left.Attributes = w.leftOut(out)
	r := Released{Data: out, UID: out.Text(tagSOPInstance), Left: w.left}
	var file bytes.Buffer
	if err := dicomio.Write(&file, out, dicomio.ExplicitLittleEndian); err != nil {
		return Released{}, fmt.Errorf("write released report: %w", err)
	}
	r.Bytes = file.Bytes()
	return r, nil
}

// doseClasses are the SOP classes that carry dose reports: the one made for it, and the general ones of older equipment (PS3.4).
func doseClass(uid string) bool {
	switch uid {
	case "1.2.840.10008.5.1.4.1.1.88.67", "1.2.840.10008.5.1.4.1.1.88.22", "1.2.840.10008.5.1.4.1.1.88.33", "1.2.840.10008.5.1.4.1.1.88.34":
		return true
	}
	return false
}

func isDose(in dicomio.DataSet) bool {
	title := codeAt(in, tagConceptName)
	return doseClass(trimmed(in, tagSOPClass)) && title.Value == "113701" && title.Scheme == "DCM"
}

// leftOut counts the attributes of the top that did not come along, or came along empty.
func (w *work) leftOut(out dicomio.DataSet) int {
	n := 0
	for _, e := range w.in {
		made, ok := out.Find(e.Tag)
		if had := len(e.Values) + len(e.Items) + len(e.Bytes); had > 0 && (!ok || len(made.Values)+len(made.Items) == 0) {
			n++
		}
	}
	return n
}
