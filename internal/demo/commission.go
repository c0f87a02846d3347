package demo

import (
	_ "embed"
	"fmt"
	"math"
	"strings"
	"time"

	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

//go:embed rhythm3check.toml
var checkForm string

// CheckForm gives the form that a physicist of the centre filled in at the check of Rhythm 3.
func CheckForm() string { return checkForm }

// Check gives the report of the exposures of that check. Rhythm 3 counts the height upward and the length toward the foot, and
// its angles are the gantry's: nobody has written that down yet.
func Check() Case {
	record, err := commission.Read(strings.NewReader(checkForm))
	if err != nil {
		panic("demo: embedded rhythm3check.toml: " + err.Error()) // a broken build, seen by the first test
	}
	s := scene{
		file: "rhythm3-check.dcm", title: "Known exposures for the check of Rhythm 3 (synthetic)", room: rhythm3(),
		patient:     subject{id: "SYN-QC02", name: "Synthetic^Test Object", sex: "O"},
		description: "Check of a device, test object (synthetic)", accession: "SYN26-1118", start: local(11, 18, 18, 0), minutes: 40,
		operators: []procedure.Person{person("Physicist^P^Synthetic", "PH-P", dcm("113851", "Irradiation Administering"), procedure.Code{})},
		intent:    qualityControl(), purpose: procedure.PurposeQualityControl,
	}
	r := s.report(0)
	r.Sources = []procedure.Code{dcm("113856", "Automated Data Collection")}
	for i, x := range record.Exposures {
		r.Events = append(r.Events, s.checked(i, x, 2.1))
	}
	for i, kerma := range []float64{10, 10, 10, 9.8} { // as displayed, mGy
		r.Events = append(r.Events, s.checked(len(record.Exposures)+i, record.Exposures[0], kerma))
	}
	r.Planes = []procedure.PlaneTotal{total(s.room.tubes[0], r.Events)}
	return Case{File: s.file, Title: s.title, Report: r}
}

// checked is one exposure as the equipment tells it: the table's top starts 124 mm under the isocentre.
func (s scene) checked(i int, x commission.Exposure, kerma float64) procedure.Event {
	const topAtStart, field = 124, 0.0144 // mm; m2 at the reference point
	t, scale := s.room.tubes[0], s.room.table
	width := math.Sqrt(field) * 1000 * 1100 / t.toRef()
	mm := func(v float64) quantity.Opt[quantity.Millimetre] {
		return quantity.Some(quantity.Millimetre(math.Round(v)))
	}
	return procedure.Event{
		UID: uid("event", s.file, fmt.Sprint(i+1)), ReportUID: uid("report", s.file), Place: fmt.Sprintf("irradiation event %d", i+1),
		Plane: t.plane, Start: timed(s.start.Add(2 * time.Minute * time.Duration(i))), Type: procedure.Stationary, Protocol: "test",
		Target: phantom(), Attitude: recumbent(), Direction: x.Direction, Posture: x.Posture,
		RefKerma: quantity.Some(quantity.Gray(kerma) * quantity.MilliGray),
		KAP:      quantity.Some(quantity.GraySquareMetre(snap(kerma*1e-3*field, 10))),
		RefPoint: referencePoint(), Technique: technique(testShot(), 15, 80), Filters: filters(0.1),
		Field: procedure.Field{Height: mm(width), Width: mm(width), Area: quantity.Some(quantity.SquareMetre(snap(width*width*1e-6, 6)))},
		Mechanics: procedure.Mechanics{
			Primary: quantity.Some(x.Left), Secondary: quantity.Some(x.Head),
			SourceToIsocentre: mm(t.toIso), SourceToReference: mm(t.toRef()), SourceToDetector: mm(1100),
			TableLongitudinal: mm(scale.longitudinal.display(float64(x.Moved.Head))),
			TableLateral:      mm(scale.lateral.display(float64(x.Moved.Left))),
			TableHeight:       mm(scale.height.display(topAtStart + float64(x.Moved.Down))),
		},
	}
}
