package main

import (
	"fmt"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

type inspectCommand struct {
	Path   string `arg:"" name:"file" help:"A dose report file."`
	Events bool   `default:"true" negatable:"" help:"List the irradiation events."`
	zoneOption
}

// Run prints what one report says and everything odd in it.
func (i *inspectCommand) Run(c console) error {
	reading, err := i.reading()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	r, err := readReport(i.Path, reading)
	if err != nil {
		_, _ = fmt.Fprintf(c.err, "afterbeam: %s: %s\n", plain(i.Path), plain(err.Error()))
		return errPartial
	}
	p := inspection{printer{w: c.out}}
	p.report(r)
	p.totals(r)
	if i.Events {
		p.events(r)
	}
	p.all(r.Findings)
	return p.err
}

type inspection struct{ printer }

// unsaid stands for what a report does not say.
const unsaid = "- (not reported)"

func (p *inspection) report(r *procedure.Report) {
	p.say("dose report %s", r.SOPInstanceUID)
	p.row("study", orWord(r.StudyUID, unsaid), orWord(r.Study.Description, "no description"))
	p.row("content", moment(r.Content))
	d := r.Device
	p.row("equipment", fmt.Sprintf("%s %s", orWord(d.Manufacturer, "maker not named"), orWord(d.Model, "model not named")),
		"serial number "+orWord(d.Serial, unsaid)+", room "+orWord(d.Room, unsaid), "key of its profile: "+d.Key())
	if r.Purpose == procedure.PurposeQualityControl {
		p.row("intent", "quality control: a test object, no patient")
	} else {
		p.row("intent", code(r.Intent))
	}
	p.row("scope", r.Scope.String())
	for _, s := range r.Sources {
		p.row("dose source", code(s))
	}
	p.row("patient", size(r.Patient)...)
	p.row("encoding", "transfer syntax "+r.TransferSyntax, "SHA-256 of the bytes "+r.BytesDigest)
	p.say("")
}

func moment(m procedure.Moment) string {
	if m.IsZero() {
		return "- (no date)"
	}
	return m.Time.Format("2006-01-02 15:04:05 -07:00")
}

func code(c procedure.Code) string {
	if c.IsZero() {
		return unsaid
	}
	return fmt.Sprintf("%s (%s, %s)", orWord(c.Meaning, "no meaning"), c.Value, c.Scheme)
}

// size says of the patient what the estimates need; name and number stay in the file.
func size(p procedure.Patient) []string {
	return []string{
		"age " + orUnsaid(p.AgeYears, func(v float64) string { return quantity.Fixed(v, 0) + " years" }) + ", sex " + orWord(p.Sex, unsaid),
		"height " + orUnsaid(p.Height, func(v quantity.Millimetre) string { return quantity.Fixed(v.Cm(), 0) + " cm" }) +
			", weight " + orUnsaid(p.Weight, func(v quantity.Kilogram) string { return quantity.Fixed(float64(v), 0) + " kg" }),
	}
}

func orUnsaid[T any](o quantity.Opt[T], print func(T) string) string {
	if v, ok := o.Get(); ok {
		return print(v)
	}
	return unsaid
}

func dash[T any](o quantity.Opt[T], print func(T) string) string {
	if v, ok := o.Get(); ok {
		return print(v)
	}
	return "-"
}

func mm(v quantity.Millimetre) string { return quantity.Fixed(float64(v), 0) }

func (p *inspection) totals(r *procedure.Report) {
	for _, t := range r.Planes {
		p.row(t.Plane.String(), delivered("in all", t.RefKerma, t.KAP),
			delivered("fluoroscopy", t.FluoroKerma, t.FluoroKAP)+", "+orUnsaid(t.FluoroTime, minutes),
			delivered("acquisition", t.AcquisitionKerma, t.AcquisitionKAP))
		for _, c := range t.Calibrations {
			p.row("", fmt.Sprintf("calibration factor %s of %s (shown, never applied)", orUnsaid(c.Factor, func(v float64) string { return quantity.Fixed(v, 3) }), moment(c.When)))
		}
	}
	if len(r.Planes) == 0 {
		p.row("totals", "- (the report has no accumulated dose)")
	}
	p.say("")
}

func delivered(what string, kerma quantity.Opt[quantity.Gray], area quantity.Opt[quantity.GraySquareMetre]) string {
	return what + ": Ka,r " + orUnsaid(kerma, func(v quantity.Gray) string { return gray(v) }) + ", KAP " +
		orUnsaid(area, func(v quantity.GraySquareMetre) string { return kap(v) })
}

func (p *inspection) events(r *procedure.Report) {
	if len(r.Events) == 0 {
		p.row("events", "- (the report lists no irradiation event)")
		p.say("")
		return
	}
	const row = "  %5s %-8s %-7s %-11s %9s %10s %11s %11s %4s %6s %-15s %s"
	p.say(row, "event", "start", "plane", "type", "Ka,r mGy", "KAP Gy cm2", "LAO + RAO -", "CRA + CAU -", "kV", "mm Cu", "SISO/SRP/SID mm", "protocol")
	for i, e := range r.Events {
		m := e.Mechanics
		p.say(row, fmt.Sprint(i+1), clock(e.Start), short(e.Plane), kindOf(e.Type),
			dash(e.RefKerma, func(v quantity.Gray) string { return figures(float64(v/quantity.MilliGray), 3) }),
			dash(e.KAP, func(v quantity.GraySquareMetre) string { return figures(v.Gycm2(), 3) }),
			swing(e.Type, m.Primary, m.PrimaryEnd), swing(e.Type, m.Secondary, m.SecondaryEnd), voltage(e.Technique.Voltages), copper(e.Filters),
			dash(m.SourceToIsocentre, mm)+"/"+dash(m.SourceToReference, mm)+"/"+dash(m.SourceToDetector, mm), orWord(plain(e.Protocol), "-"))
	}
	p.say("  - the report does not say; SISO, SRP, SID: distances of the source from isocentre, reference point and detector")
	p.say("")
}

// swing prints an angle, and from where to where a rotation goes.
func swing(kind procedure.EventType, start, end quantity.Opt[quantity.Degree]) string {
	if kind == procedure.Rotational && end.Present() {
		return dash(start, angle) + " to " + dash(end, angle)
	}
	return dash(start, angle)
}

func clock(m procedure.Moment) string {
	if m.IsZero() {
		return "-"
	}
	return m.Time.Format("15:04:05")
}

func short(p procedure.Plane) string {
	switch p {
	case procedure.PlaneSingle:
		return "single"
	case procedure.PlaneA:
		return "A"
	case procedure.PlaneB:
		return "B"
	case procedure.PlaneAll:
		return "all"
	case procedure.PlaneUnknown:
	}
	return "-"
}

func kindOf(t procedure.EventType) string {
	switch t {
	case procedure.Fluoroscopy:
		return "fluoroscopy"
	case procedure.Stationary:
		return "acquisition"
	case procedure.Stepping:
		return "stepping"
	case procedure.Rotational:
		return "rotational"
	case procedure.EventUnknown:
	}
	return "-"
}

func angle(v quantity.Degree) string { return quantity.Fixed(float64(v), 0) }

// voltage prints the mean of the tube voltages, as the estimate uses it.
func voltage(all []quantity.Kilovolt) string {
	if len(all) == 0 {
		return "-"
	}
	var sum quantity.Kilovolt
	for _, v := range all {
		sum += v
	}
	return quantity.Fixed(float64(sum)/float64(len(all)), 0)
}

func copper(filters []procedure.Filter) string {
	for _, f := range filters {
		if f.Metal == procedure.Copper {
			return dash(f.Max, func(v quantity.Millimetre) string { return quantity.Fixed(float64(v), 2) })
		}
	}
	return "-"
}

func (p *inspection) all(findings []procedure.Finding) {
	p.say("findings: %d", len(findings))
	for _, f := range findings {
		place := ""
		if f.Place != "" {
			place = f.Place + ": "
		}
		p.say("  [%s] %s%s (%s)", f.Severity, place, f.Text, f.Rule)
	}
}
