package demo

import (
	"fmt"
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// doseReport is the X-Ray Radiation Dose SR storage class, explicitLittle the transfer syntax; PS3.4 B.5, PS3.5 A.2; read.
const (
	doseReport     = "1.2.840.10008.5.1.4.1.1.88.67"
	explicitLittle = "1.2.840.10008.1.2.1"
)

// report tells the scene as the dose report its equipment would send; stream picks the chance.
func (s scene) report(stream uint64) procedure.Report {
	sop := uid("report", s.file)
	r := procedure.Report{
		SOPClassUID: doseReport, SOPInstanceUID: sop, SeriesUID: uid("series", s.file), StudyUID: uid("study", s.file),
		TransferSyntax: explicitLittle,
		Patient:        s.patient.patient(s.start),
		Study: procedure.Study{
			Description: s.description, Performed: s.description, AccessionNumber: s.accession, Institution: Centre,
			Date: dated(s.start),
		},
		Device: s.room.device, Persons: s.operators, Intent: s.intent, Purpose: s.purpose,
		DeviceKind: dcm("113957", "Fluoroscopy-Guided Projection Radiography System"),
		Scope:      procedure.ScopeStudy, ScopeUID: uid("study", s.file),
		Sources:  []procedure.Code{dcm("113856", "Automated Data Collection")},
		Complete: true, Comment: comment,
	}
	end := s.start.Add(time.Duration(s.minutes * float64(time.Minute)))
	r.Content = dated(end.Add(5 * time.Minute).Truncate(time.Minute))
	if len(s.steps) == 0 {
		// Without events the template wants another source: PS3.16 TID 10001 row 14.
		r.Sources = []procedure.Code{dcm("113866", "Copied From Image Attributes")}
		r.Planes = s.totalsOnly
		return r
	}
	r.Events = s.events(stream)
	for i := range r.Events {
		e := &r.Events[i]
		e.ReportUID, e.Place = sop, fmt.Sprintf("irradiation event %d", i+1)
		e.UID = uid("event", s.file, fmt.Sprint(i+1))
	}
	for _, t := range s.room.tubes {
		r.Planes = append(r.Planes, total(t, r.Events))
	}
	return r
}

// events draws the presses, exposes each plane and scales all so that the kerma of the case comes out as the table says.
func (s scene) events(stream uint64) []procedure.Event {
	rng := chance(stream)
	var drawn []exposed
	asked := 0.0
	jitter := func() float64 { return limit(rng.NormFloat64(), 2) }
	for _, p := range s.plan(rng) {
		drawn = append(drawn, s.expose(s.room.tubes[0], p.view, p, jitter))
		if p.view.side != nil {
			drawn = append(drawn, s.expose(s.room.tubes[1], *p.view.side, p, jitter))
		}
	}
	for _, x := range drawn {
		asked += x.asked
	}
	factor := float64(s.kerma) * 1e3 / asked
	events := make([]procedure.Event, 0, len(drawn))
	for _, x := range drawn {
		events = append(events, x.settle(factor))
	}
	return events
}

// total sums the events of a plane, fluoroscopy and acquisition apart; times are clock times.
func total(t tube, events []procedure.Event) procedure.PlaneTotal {
	var fluoro, acquisition struct{ kerma, kap, seconds float64 }
	frames := 0.0
	for _, e := range events {
		if e.Plane != t.plane {
			continue
		}
		sum := &acquisition
		if e.Type == procedure.Fluoroscopy {
			sum = &fluoro
		} else {
			frames += e.Technique.Pulses.Or(0)
		}
		sum.kerma += float64(e.RefKerma.Or(0))
		sum.kap += float64(e.KAP.Or(0))
		sum.seconds += float64(e.Technique.Duration.Or(0))
	}
	kerma := func(v float64) quantity.Opt[quantity.Gray] { return quantity.Some(quantity.Gray(snap(v, 8))) }
	kap := func(v float64) quantity.Opt[quantity.GraySquareMetre] {
		return quantity.Some(quantity.GraySquareMetre(snap(v, 10)))
	}
	seconds := func(v float64) quantity.Opt[quantity.Second] { return quantity.Some(quantity.Second(snap(v, 3))) }
	return procedure.PlaneTotal{
		Plane:       t.plane,
		KAP:         kap(fluoro.kap + acquisition.kap),
		RefKerma:    kerma(fluoro.kerma + acquisition.kerma),
		FluoroKAP:   kap(fluoro.kap),
		FluoroKerma: kerma(fluoro.kerma), FluoroTime: seconds(fluoro.seconds),
		AcquisitionKAP:   kap(acquisition.kap),
		AcquisitionKerma: kerma(acquisition.kerma), AcquisitionTime: seconds(acquisition.seconds),
		Frames:            quantity.Some(frames),
		SourceToReference: quantity.Some(quantity.Millimetre(t.toRef())),
		RefPoint:          referencePoint(),
		Calibrations:      []procedure.Calibration{calibration()},
	}
}

func calibration() procedure.Calibration {
	return procedure.Calibration{
		Device: sct("15869005", "Dosimeter"),
		When:   timed(local(time.June, 8, 9, 0)),
		Factor: quantity.Some(1.0), Uncertainty: quantity.Some(quantity.Percent(5)),
		Responsible: "Medical physics, Saltmarsh (synthetic)", Protocol: "synthetic yearly check",
	}
}

// patient gives the subject with the age on the day of the case.
func (s subject) patient(day time.Time) procedure.Patient {
	p := procedure.Patient{
		ID: s.id, Issuer: "Saltmarsh (synthetic)", Name: s.name, BirthDate: s.birth, Sex: s.sex,
	}
	if s.height > 0 {
		p.Height, p.Weight = quantity.Some(s.height), quantity.Some(s.weight)
	}
	birth, err := time.Parse(time.DateOnly, s.birth)
	if err != nil {
		return p // the test object has no birth date
	}
	const daysPerYear = 365.2425 // Gregorian calendar
	today := time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC)
	p.AgeYears = quantity.Some(today.Sub(birth).Hours() / 24 / daysPerYear)
	return p
}

// local is a time of the scenario's year at the centre, whose clocks go back on 25 October 2026.
func local(month time.Month, day, hour, minute int) time.Time {
	hours := 1
	if month > time.October || month == time.October && day >= 25 {
		hours = 0
	}
	return time.Date(2026, month, day, hour, minute, 0, 0, offset(hours))
}

func offset(hours int) *time.Location { return time.FixedZone("", hours*3600) }

// dated is a moment of the data set's header, whose offset stands once for the whole.
func dated(t time.Time) procedure.Moment {
	return procedure.Moment{Time: t, Offset: procedure.OffsetOfDataSet}
}

// timed is a moment of the content. In summer each value carries its offset; in winter the header's stands for all, as
// some readers of structured reports (dsrdump 3.6.7 is one) take a value with the offset +0000 for invalid.
func timed(t time.Time) procedure.Moment {
	if _, seconds := t.Zone(); seconds == 0 {
		return dated(t)
	}
	return procedure.Moment{Time: t, Offset: procedure.OffsetInValue}
}
