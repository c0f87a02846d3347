package commission

import (
	"errors"
	"fmt"
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrReport marks a report that does not belong to the record.
var ErrReport = errors.New("report does not belong to the record of the check")

// taken is one exposure with its irradiation event.
type taken struct {
	exposure Exposure
	event    *procedure.Event
}

func (x Exposure) headFirstSupine() bool {
	return x.Direction == procedure.HeadFirst && x.Posture == procedure.Supine
}

// Check sets a record against the dose report of its exposures. base is the profile of the device as it was before, the
// zero profile when there is none: what the check does not show is taken over from it into the draft. It returns ErrReport
// when the report is of another device or lacks an event that the record names.
func Check(report *procedure.Report, record Record, base procedure.DeviceProfile) (*Result, error) {
	if record.Device != "" && record.Device != report.Device.Key() {
		return nil, fmt.Errorf("%w: the record is of device %q, the report of %q", ErrReport, record.Device, report.Device.Key())
	}
	r := &Result{Record: record, Device: report.Device.Key(), ReportUID: report.SOPInstanceUID}
	all, err := r.take(report)
	if err != nil {
		return nil, err
	}
	r.note(report, all)
	axes := [3]*Axis{&r.Longitudinal, &r.Lateral, &r.Height}
	for i, p := range positions() {
		*axes[i] = axis(all, p)
	}
	apart(axes[:]...)
	r.Isocentric = isocentric(all)
	r.Angles = angles(all)
	r.orientation(all)
	if err := r.zeros(report, base); err != nil {
		return nil, err
	}
	if err := r.meters(report); err != nil {
		return nil, err
	}
	r.compare(all)
	r.draft(base)
	return r, nil
}

// event gives an event by its number.
func (r *Result) event(report *procedure.Report, number int) (*procedure.Event, error) {
	if number > len(report.Events) {
		return nil, fmt.Errorf("%w: the record names event %d, the report has %d", ErrReport, number, len(report.Events))
	}
	e := &report.Events[number-1]
	if e.Plane != r.Record.Plane && e.Plane != procedure.PlaneUnknown {
		return nil, fmt.Errorf("%w: event %d is of %s, the record of %s", ErrReport, number, e.Plane, r.Record.Plane)
	}
	return e, nil
}

// take joins exposures and events. What cannot be used is left out with a note.
func (r *Result) take(report *procedure.Report) ([]taken, error) {
	var all []taken
	for _, x := range r.Record.Exposures {
		e, err := r.event(report, x.Event)
		if err != nil {
			return nil, err
		}
		m := &e.Mechanics
		switch {
		case e.Type == procedure.Rotational || e.Type == procedure.Stepping:
			r.say("event %d is a moving run and is left out", x.Event)
		case math.Abs(float64(m.TableHeadTilt.Or(0))) > 1 || math.Abs(float64(m.TableCradleTilt.Or(0))) > 1 || math.Abs(float64(m.TableRotation.Or(0))) > 1:
			r.say("the table was tilted or rotated in event %d, which is left out", x.Event)
		default:
			all = append(all, taken{x, e})
		}
	}
	return all, nil
}

func (r *Result) say(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

func (r *Result) note(report *procedure.Report, all []taken) {
	if report.Purpose != procedure.PurposeQualityControl {
		r.say("the report is not marked as quality control: where it is kept, it counts as a patient's procedure")
	}
	silent := 0
	for _, t := range all {
		if t.event.Direction == procedure.DirectionUnknown || t.event.Posture == procedure.PostureUnknown {
			silent++
		}
	}
	if silent > 0 {
		r.say("%d of %d exposures do not tell how the patient was registered: without it estimates assume head first and supine", silent, len(all))
	}
	if r.Record.Plane != procedure.PlaneSingle {
		r.say("this is %s of several: a profile holds one set of axes, one angle frame and one factor for all planes of a device; check each plane, and draft what they share", r.Record.Plane)
	}
}

// orientation holds the registration that the report tells against the record: a device that tells another one turns its
// angles for nothing.
func (r *Result) orientation(all []taken) {
	var wrong []int
	for _, t := range all {
		e := t.event
		if (e.Direction != procedure.DirectionUnknown && e.Direction != t.exposure.Direction) ||
			(e.Posture != procedure.PostureUnknown && e.Posture != t.exposure.Posture) {
			wrong = append(wrong, t.exposure.Event)
		}
	}
	if len(wrong) == 0 {
		return
	}
	r.Angles = Angles{Conclusion: Conclusion{
		Question: r.Angles.Question, State: Contradicted, Events: wrong,
		Says: "the report tells another registration than the record; the angles by the record: " + r.Angles.Says,
	}}
}

// compare sets every exposure beside what the answers expect of it.
func (r *Result) compare(all []taken) {
	axes := [3]*Axis{&r.Longitudinal, &r.Lateral, &r.Height}
	var starts [3]quantity.Opt[float64]
	for i, p := range positions() {
		if axes[i].State != Shown {
			continue
		}
		var points []point
		for _, t := range all {
			if number, ok := p.of(&t.event.Mechanics).Get(); ok && t.exposure.headFirstSupine() {
				points = append(points, point{t, number})
			}
		}
		start, _ := fit(points, axes[i].Means)
		starts[i] = quantity.Some(start)
	}
	way := quantity.None[reading]()
	for _, x := range readings() {
		if x.frame != procedure.FrameUnknown && x.frame == r.Angles.Frame {
			way = quantity.Some(x)
		}
	}
	for _, t := range all {
		m := &t.event.Mechanics
		c := Compared{Exposure: t.exposure, Primary: m.Primary, Secondary: m.Secondary}
		if x, ok := way.Get(); ok {
			if d, ok := x.turned(t); ok {
				c.Turned = quantity.Some(d)
			}
		}
		for i, p := range positions() {
			c.Positions[i] = p.of(m)
			number, has := c.Positions[i].Get()
			if start, ok := starts[i].Get(); ok && has {
				c.Off[i] = quantity.Some(quantity.Millimetre(point{t, number}.offset(axes[i].Means) - start))
			}
		}
		r.Compared = append(r.Compared, c)
	}
}
