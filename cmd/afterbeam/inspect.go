package main

import (
	"fmt"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

type inspectCommand struct {
	Path   string `arg:"" name:"file" type:"existingfile" help:"A dose report file."`
	Events bool   `default:"true" negatable:"" help:"List the irradiation events."`
	methodOptions
}

// Run prints what one report says and everything odd in it.
func (i *inspectCommand) Run(c console) error {
	reading, err := i.reading()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	r, err := readReport(i.Path, reading)
	if err != nil {
		_, _ = fmt.Fprintf(c.err, "afterbeam: %s: %v\n", i.Path, err)
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

func (p *inspection) report(r *procedure.Report) {
	p.say("%s", r.SOPInstanceUID)
	p.row("study", r.StudyUID, orWord(r.Study.Description, "no description"))
	p.row("content", moment(r.Content))
	p.row("equipment", fmt.Sprintf("%s %s, serial %s, room %s, key %s", orWord(r.Device.Manufacturer, "maker not named"), r.Device.Model,
		orWord(r.Device.Serial, "-"), orWord(r.Device.Room, "-"), r.Device.Key()))
	p.row("scope", r.Scope.String())
	for _, s := range r.Sources {
		p.row("dose source", code(s))
	}
	p.row("patient", size(r.Patient))
	p.row("encoding", fmt.Sprintf("transfer syntax %s, SHA-256 of the bytes %s", r.TransferSyntax, r.BytesDigest))
	p.say("")
}

func moment(m procedure.Moment) string {
	if m.IsZero() {
		return "- (no date)"
	}
	return m.Time.Format("2006-01-02 15:04:05 -07:00")
}

func code(c procedure.Code) string { return fmt.Sprintf("%s (%s, %s)", c.Meaning, c.Value, c.Scheme) }

// size says of the patient what the estimates need; name and number stay in the file.
func size(p procedure.Patient) string {
	return fmt.Sprintf("age %s, sex %s, height %s, weight %s",
		dash(p.AgeYears, func(v float64) string { return quantity.Fixed(v, 0) + " years" }), orWord(p.Sex, "-"),
		dash(p.Height, func(v quantity.Millimetre) string { return quantity.Fixed(v.Cm(), 0) + " cm" }),
		dash(p.Weight, func(v quantity.Kilogram) string { return quantity.Fixed(float64(v), 0) + " kg" }))
}

func dash[T any](o quantity.Opt[T], print func(T) string) string {
	if v, ok := o.Get(); ok {
		return print(v)
	}
	return "-"
}

func kap(v quantity.GraySquareMetre) string { return quantity.Significant(v.Gycm2(), 3) + " Gy cm2" }

func mm(v quantity.Millimetre) string { return quantity.Fixed(float64(v), 0) }

func (p *inspection) totals(r *procedure.Report) {
	for _, t := range r.Planes {
		p.row(t.Plane.String(), fmt.Sprintf("Ka,r %s, KAP %s, fluoroscopy %s", dash(t.RefKerma, gray), dash(t.KAP, kap),
			dash(t.FluoroTime, func(v quantity.Second) string { return quantity.Fixed(v.Minutes(), 1) + " min" })))
		for _, c := range t.Calibrations {
			p.row("", fmt.Sprintf("calibration factor %s of %s (shown, never applied)", dash(c.Factor, func(v float64) string { return quantity.Fixed(v, 3) }), moment(c.When)))
		}
	}
	if len(r.Planes) == 0 {
		p.row("totals", "- (the report has no accumulated dose)")
	}
	p.say("")
}

func (p *inspection) events(r *procedure.Report) {
	if len(r.Events) == 0 {
		p.row("events", "- (the report lists no irradiation event)")
		p.say("")
		return
	}
	p.say("  %-5s %-8s %-8s %-13s %10s %10s %6s %6s %5s %6s  %-14s %s", "event", "start", "plane", "type", "Ka,r", "KAP Gycm2", "LAO+", "CRA+", "kV", "mm Cu", "SISO/SRP/SID", "protocol")
	for i, e := range r.Events {
		p.say("  %-5d %-8s %-8s %-13s %10s %10s %6s %6s %5s %6s  %-14s %s", i+1, clock(e.Start), short(e.Plane), kindOf(e.Type), dash(e.RefKerma, gray),
			dash(e.KAP, func(v quantity.GraySquareMetre) string { return quantity.Significant(v.Gycm2(), 3) }),
			dash(e.Mechanics.Primary, angle), dash(e.Mechanics.Secondary, angle), voltage(e.Technique.Voltages), copper(e.Filters),
			dash(e.Mechanics.SourceToIsocentre, mm)+"/"+dash(e.Mechanics.SourceToReference, mm)+"/"+dash(e.Mechanics.SourceToDetector, mm), e.Protocol)
	}
	p.say("")
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
			return dash(f.Max, func(v quantity.Millimetre) string { return quantity.Fixed(float64(v), 1) })
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
