package crashtest_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"time"

	"afterbeam/internal/demo"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/rdsr"
)

// kind is what a sent stream of bytes is.
type kind string

const (
	dose kind = "dose" // a dose report
	odd  kind = "odd"  // a DICOM object that is no dose report: kept in quarantine
	junk kind = "junk" // no DICOM: refused
)

// The SOP classes of what is sent: dose reports, and enhanced ones, which are kept in quarantine.
const doseClass, otherClass = "1.2.840.10008.5.1.4.1.1.88.67", "1.2.840.10008.5.1.4.1.1.88.76"

// parcel is one stream of bytes to be sent.
type parcel struct {
	kind   kind
	digest string
	raw    []byte
}

// caseTruth is what the store must say about one procedure when all its reports were read.
type caseTruth struct {
	Study, Device, Patient string
	Kerma, KAP, Seconds    float64 // Gy, Gy m2, s
	Events                 int
}

// world invents studies. Its chance comes from a seed, so that a failure can be had again.
type world struct {
	rng     *rand.Rand
	bases   []procedure.Report
	serial  int
	studies int
	truth   map[string]caseTruth // by study UID
	parcels []parcel             // all that were made, each once
}

// fewestEvents and mostEvents bound the size of a study.
const fewestEvents, mostEvents = 3, 10

func newWorld(seed uint64) *world {
	w := &world{rng: rand.New(rand.NewPCG(seed, 0)), truth: map[string]caseTruth{}}
	for _, c := range demo.Cases() {
		if len(c.Report.Events) > 2*mostEvents && c.Report.Purpose == procedure.PurposePatient {
			w.bases = append(w.bases, c.Report)
		}
	}
	return w
}

func (w *world) uid() string {
	w.serial++
	return fmt.Sprintf("2.25.%d%06d", 1+w.rng.Uint64N(1<<60), w.serial)
}

// study invents a study and gives what is sent of it, copies included, in the order of chance.
func (w *world) study() ([]parcel, error) {
	w.studies++
	base := w.bases[w.rng.IntN(len(w.bases))]
	n := fewestEvents + w.rng.IntN(mostEvents-fewestEvents+1)
	from := w.rng.IntN(len(base.Events) - n)
	whole := w.retold(base, from, n)
	var reports []procedure.Report
	switch w.rng.IntN(4) {
	case 0: // the study's report alone
		reports = append(reports, w.part(whole, 0, n, procedure.ScopeStudy, 1))
	case 1: // interim reports, then the study's
		for i, end := range []int{1 + n/3, 1 + n/2} {
			reports = append(reports, w.part(whole, 0, end, procedure.ScopeToThisPoint, i))
		}
		reports = append(reports, w.part(whole, 0, n, procedure.ScopeStudy, 3))
	case 2: // two runs with totals of their own
		reports = append(reports, w.part(whole, 0, n/2, procedure.ScopeStep, 1), w.part(whole, n/2, n, procedure.ScopeStep, 2))
	default: // a study's report, and a later one with more
		reports = append(reports, w.part(whole, 0, n-1, procedure.ScopeStudy, 1), w.part(whole, 0, n, procedure.ScopeStudy, 2))
	}
	w.truth[whole.StudyUID] = truthOf(whole)
	return w.pack(reports)
}

// pack writes the reports, now and then once more in another encoding, with odd objects and junk among them, and gives
// some of them twice or three times.
func (w *world) pack(reports []procedure.Report) ([]parcel, error) {
	var made []parcel
	add := func(k kind, raw []byte) {
		sum := sha256.Sum256(raw)
		made = append(made, parcel{k, hex.EncodeToString(sum[:]), raw})
	}
	const implicitLittle = "1.2.840.10008.1.2"
	for _, r := range reports {
		var plain, again bytes.Buffer
		if err := rdsr.Write(&plain, &r, rdsr.WriteOptions{}); err != nil {
			return nil, err
		}
		add(dose, plain.Bytes())
		if w.rng.IntN(6) == 0 {
			if err := rdsr.Write(&again, &r, rdsr.WriteOptions{TransferSyntax: implicitLittle}); err != nil {
				return nil, err
			}
			add(dose, again.Bytes())
		}
		if w.rng.IntN(10) == 0 {
			add(odd, bytes.ReplaceAll(plain.Bytes(), []byte(doseClass), []byte(otherClass)))
		}
		if w.rng.IntN(10) == 0 {
			add(junk, fmt.Appendf(nil, "no report %d", w.rng.Uint64()))
		}
	}
	w.parcels = append(w.parcels, made...)
	var out []parcel
	for _, p := range made {
		for range 1 + max(0, w.rng.IntN(6)-3) {
			out = append(out, p)
		}
	}
	w.rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out, nil
}

// retold gives events of a case of the demonstration as a study of its own. Three studies in turn are one patient's, days
// apart, so that windows hold several.
func (w *world) retold(base procedure.Report, from, n int) procedure.Report {
	r := base
	patient := 1 + w.studies/3
	r.StudyUID, r.SeriesUID = w.uid(), w.uid()
	r.Patient.ID, r.Patient.Issuer = fmt.Sprintf("CRASH-%05d", patient), "Saltmarsh (synthetic)"
	r.Patient.Name, r.Patient.BirthDate, r.Patient.Sex = fmt.Sprintf("Synthetic^Crash %d", patient), "1950-03-04", "F"
	days := 24 * time.Hour * time.Duration(w.studies%3*20)
	move := func(m procedure.Moment) procedure.Moment {
		m.Time = m.Time.Add(days)
		return m
	}
	r.Study.Date, r.Content = move(r.Study.Date), move(r.Content)
	r.Study.AccessionNumber = fmt.Sprintf("CRASH%07d", w.studies)
	r.Events = make([]procedure.Event, 0, n)
	for _, e := range base.Events[from : from+n] {
		e.UID, e.Start = w.uid(), move(e.Start)
		r.Events = append(r.Events, e)
	}
	return r
}

// part gives a report about some of a study's events, with their totals.
func (w *world) part(whole procedure.Report, from, to int, scope procedure.Scope, minute int) procedure.Report {
	r := whole
	r.SOPInstanceUID = w.uid()
	r.Scope, r.ScopeUID = scope, whole.StudyUID
	if scope == procedure.ScopeStep {
		r.ScopeUID = w.uid()
	}
	r.Content.Time = r.Content.Time.Add(time.Duration(minute) * time.Minute)
	r.Events = whole.Events[from:to]
	r.Planes = nil
	for _, plane := range whole.Planes {
		r.Planes = append(r.Planes, totalOf(plane, r.Events))
	}
	return r
}

// totalOf sums the events of a plane into its total.
func totalOf(t procedure.PlaneTotal, events []procedure.Event) procedure.PlaneTotal {
	var kerma, kap, seconds [2]float64 // fluoroscopy, acquisition
	frames := 0.0
	for _, e := range events {
		if e.Plane != t.Plane {
			continue
		}
		i := 0
		if e.Type != procedure.Fluoroscopy {
			i = 1
			frames += e.Technique.Pulses.Or(0)
		}
		kerma[i] += float64(e.RefKerma.Or(0))
		kap[i] += float64(e.KAP.Or(0))
		seconds[i] += float64(e.Technique.Duration.Or(0))
	}
	gray := func(v float64) quantity.Opt[quantity.Gray] { return quantity.Some(quantity.Gray(v)) }
	area := func(v float64) quantity.Opt[quantity.GraySquareMetre] {
		return quantity.Some(quantity.GraySquareMetre(v))
	}
	second := func(v float64) quantity.Opt[quantity.Second] { return quantity.Some(quantity.Second(v)) }
	t.RefKerma, t.FluoroKerma, t.AcquisitionKerma = gray(kerma[0]+kerma[1]), gray(kerma[0]), gray(kerma[1])
	t.KAP, t.FluoroKAP, t.AcquisitionKAP = area(kap[0]+kap[1]), area(kap[0]), area(kap[1])
	t.FluoroTime, t.AcquisitionTime, t.Frames = second(seconds[0]), second(seconds[1]), quantity.Some(frames)
	return t
}

func truthOf(r procedure.Report) caseTruth {
	c := caseTruth{Study: r.StudyUID, Device: r.Device.Key(), Patient: r.Patient.ID, Events: len(r.Events)}
	for _, e := range r.Events {
		c.Kerma += float64(e.RefKerma.Or(0))
		c.KAP += float64(e.KAP.Or(0))
		if e.Type == procedure.Fluoroscopy {
			c.Seconds += float64(e.Technique.Duration.Or(0))
		}
	}
	return c
}
