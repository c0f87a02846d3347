package rdsr_test

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// All people, places and equipment below are invented.

func dcm(value, meaning string) procedure.Code {
	return procedure.Code{Value: value, Scheme: "DCM", Meaning: meaning}
}

func sct(value, meaning string) procedure.Code {
	return procedure.Code{Value: value, Scheme: "SCT", Meaning: meaning}
}

var (
	copper      = sct("66925006", "Copper")
	aluminium   = sct("12503006", "Aluminum")
	pointAt15   = dcm("113860", "15cm from Isocenter toward Source")
	zone        = time.FixedZone("", 3600)
	fluoroscopy = dcm("113957", "Fluoroscopy-Guided Projection Radiography System")
	automated   = dcm("113856", "Automated Data Collection")
	heart       = sct("80891009", "Heart")
	abdomen     = sct("113345001", "Abdomen")
	therapeutic = sct("262202000", "Therapeutic Intent")
	recumbent   = sct("102538003", "recumbent")
)

const xaImage = "1.2.840.10008.5.1.4.1.1.12.1"

const uidRoot = "1.2.826.0.1.3680043.10.1355.77."

func some[T any](v T) quantity.Opt[T] { return quantity.Some(v) }

// header is what all shapes have in common.
func header(n int) *procedure.Report {
	start := time.Date(2025, 3, 4, 9, 15, 0, 0, zone)
	return &procedure.Report{
		SOPClassUID:    "1.2.840.10008.5.1.4.1.1.88.67",
		SOPInstanceUID: fmt.Sprintf("%s%d.3", uidRoot, n),
		SeriesUID:      fmt.Sprintf("%s%d.2", uidRoot, n),
		StudyUID:       fmt.Sprintf("%s%d.1", uidRoot, n),
		Patient: procedure.Patient{
			ID: "SYN-0007", Issuer: "Saltmarsh Regional", Name: "Sample^Synthetic", BirthDate: "1951-06-30", Sex: "F",
			Height: some(quantity.Millimetre(1680)), Weight: some(quantity.Kilogram(81.5)), Pregnancy: 4,
		},
		Study: procedure.Study{
			Description: "Branched aortic stent graft, second stage", AccessionNumber: "A-0815",
			Date:        procedure.Moment{Time: start, Offset: procedure.OffsetOfDataSet},
			Performed:   "Endovascular repair",
			Institution: "Saltmarsh Regional Heart & Vascular Centre",
		},
		Content: procedure.Moment{Time: start.Add(3 * time.Hour), Offset: procedure.OffsetOfDataSet},
		Device: procedure.Device{
			UID: uidRoot + "9", Name: "Hybrid 1 frame", Manufacturer: "Saltmarsh Imaging Works", Model: "Synthetic Arc",
			Serial: "S-0001", Station: "HYBRID1", Room: "Hybrid 1", Software: "1.0",
		},
		Persons: []procedure.Person{{
			Name: "Operator^One", Login: "op1", Organization: "Saltmarsh Regional",
			RoleInProcedure: dcm("113850", "Irradiation Authorizing"),
		}},
		Intent: therapeutic, DeviceKind: fluoroscopy, Scope: procedure.ScopeStudy,
		ScopeUID: fmt.Sprintf("%s%d.1", uidRoot, n), Sources: []procedure.Code{automated}, Complete: true,
		DetectorData: procedure.AvailabilityYes, SourceData: procedure.AvailabilityYes, MechanicalData: procedure.AvailabilityYes,
	}
}

// exposure makes an event whose numbers agree with one another: pulses, times and currents by construction, KAP as air
// kerma times the field scaled from the detector.
func exposure(r *procedure.Report, plane procedure.Plane, kind procedure.EventType, kerma quantity.Gray) procedure.Event {
	n := len(r.Events)
	pulses, width, current := 150.0, quantity.Second(0.008), quantity.Milliampere(90)
	e := procedure.Event{
		UID: fmt.Sprintf("%s.%d", r.SOPInstanceUID, n+1), Plane: plane, Type: kind,
		Start:    procedure.Moment{Time: r.Study.Date.Time.Add(time.Duration(n) * time.Minute), Offset: procedure.OffsetInValue},
		Protocol: "Aorta low", Anatomy: abdomen, Target: abdomen, Attitude: recumbent,
		Direction: procedure.HeadFirst, Posture: procedure.Supine,
		RefKerma: some(kerma), KAP: some(quantity.GraySquareMetre(float64(kerma) * 0.04 * 0.36)),
		RefPoint: procedure.ReferencePoint{Code: pointAt15},
		Technique: procedure.Technique{
			PulsedKnown: true, Pulsed: true, PulseRate: some(quantity.PerSecond(15)), Pulses: some(pulses),
			PulseWidths: []quantity.Second{width}, Duration: some(quantity.Second(10)),
			Voltages: []quantity.Kilovolt{78.4}, Currents: []quantity.Milliampere{current}, MeanCurrent: some(current),
			ExposureTime: some(quantity.Second(pulses) * width), FocalSpot: some(quantity.Millimetre(0.6)),
			Anode: sct("26194003", "Tungsten"), Grids: []procedure.Code{dcm("111646", "No grid")},
		},
		Filters: []procedure.Filter{
			{Type: procedure.FilterFlat, Metal: procedure.Copper, Material: copper, Min: some(quantity.Millimetre(0.3)), Max: some(quantity.Millimetre(0.3))},
		},
		Field: procedure.Field{Area: some(quantity.SquareMetre(0.04)), Height: some(quantity.Millimetre(200)), Width: some(quantity.Millimetre(200))},
		Mechanics: procedure.Mechanics{
			Primary: some(quantity.Degree(-12.5)), Secondary: some(quantity.Degree(8)),
			SourceToIsocentre: some(quantity.Millimetre(750)), SourceToReference: some(quantity.Millimetre(600)),
			SourceToDetector: some(quantity.Millimetre(1000)), TableLongitudinal: some(quantity.Millimetre(-812.5)),
			TableLateral: some(quantity.Millimetre(14)), TableHeight: some(quantity.Millimetre(-96)),
		},
		ReportUID: r.SOPInstanceUID, Place: fmt.Sprintf("irradiation event %d", n+1),
	}
	if kind != procedure.Fluoroscopy {
		e.Technique.PulsedKnown, e.Technique.Pulsed, e.Technique.PulseRate = false, false, quantity.Opt[quantity.PerSecond]{}
	}
	return e
}

// total adds a plane's events up, as equipment does.
func total(r *procedure.Report, plane procedure.Plane) procedure.PlaneTotal {
	t := procedure.PlaneTotal{Plane: plane, RefPoint: procedure.ReferencePoint{Code: pointAt15}}
	var kerma, kap, time, frames [2]float64
	for i := range r.Events {
		e := &r.Events[i]
		if e.Plane != plane {
			continue
		}
		kind := 0
		if e.Type != procedure.Fluoroscopy {
			kind = 1
			frames[1] += e.Technique.Pulses.Or(0)
		}
		kerma[kind] += float64(e.RefKerma.Or(0))
		kap[kind] += float64(e.KAP.Or(0))
		time[kind] += float64(e.Technique.Duration.Or(0))
	}
	t.KAP, t.RefKerma = some(quantity.GraySquareMetre(kap[0]+kap[1])), some(quantity.Gray(kerma[0]+kerma[1]))
	if time[0] > 0 {
		t.FluoroKAP, t.FluoroKerma, t.FluoroTime = some(quantity.GraySquareMetre(kap[0])), some(quantity.Gray(kerma[0])), some(quantity.Second(time[0]))
	}
	t.AcquisitionKAP, t.AcquisitionKerma, t.AcquisitionTime = some(quantity.GraySquareMetre(kap[1])), some(quantity.Gray(kerma[1])), some(quantity.Second(time[1]))
	t.Frames = some(frames[1])
	return t
}

func singlePlane() *procedure.Report {
	r := header(1)
	r.Events = append(r.Events, exposure(r, procedure.PlaneSingle, procedure.Fluoroscopy, 0.0123))
	r.Events = append(r.Events, exposure(r, procedure.PlaneSingle, procedure.Stationary, 0.0452))
	run := exposure(r, procedure.PlaneSingle, procedure.Rotational, 0.0871)
	run.Mechanics.PrimaryEnd, run.Mechanics.SecondaryEnd = some(quantity.Degree(100)), some(quantity.Degree(8))
	run.Mechanics.Primary = some(quantity.Degree(-100))
	run.Comment = "synthetic rotational run"
	r.Events = append(r.Events, run)
	r.Planes = []procedure.PlaneTotal{total(r, procedure.PlaneSingle)}
	r.Planes[0].Calibrations = []procedure.Calibration{{
		Device: sct("15869005", "Dosimeter"), When: procedure.Moment{Time: time.Date(2024, 11, 2, 8, 0, 0, 0, zone), Offset: procedure.OffsetInValue},
		Factor: some(1.0), Uncertainty: some(quantity.Percent(5)), Responsible: "Saltmarsh Regional medical physics",
	}}
	return r
}

func biplane() *procedure.Report {
	r := header(2)
	for i := range 3 {
		kind := []procedure.EventType{procedure.Fluoroscopy, procedure.Stationary, procedure.Fluoroscopy}[i]
		r.Events = append(r.Events, exposure(r, procedure.PlaneA, kind, 0.011+quantity.Gray(i)*0.004))
		b := exposure(r, procedure.PlaneB, kind, 0.006+quantity.Gray(i)*0.002)
		b.Mechanics.Primary = some(quantity.Degree(90))
		r.Events = append(r.Events, b)
	}
	r.Planes = []procedure.PlaneTotal{total(r, procedure.PlaneA), total(r, procedure.PlaneB)}
	return r
}

func noMechanics() *procedure.Report {
	r := header(3)
	r.MechanicalData = procedure.AvailabilityNo
	for range 2 {
		e := exposure(r, procedure.PlaneSingle, procedure.Fluoroscopy, 0.02)
		e.Mechanics = procedure.Mechanics{MechanicalDataSaidAbsent: true}
		r.Events = append(r.Events, e)
	}
	e := exposure(r, procedure.PlaneSingle, procedure.Stepping, 0.03)
	e.Mechanics = procedure.Mechanics{MechanicalDataSaidAbsent: true}
	r.Events = append(r.Events, e)
	r.Planes = []procedure.PlaneTotal{total(r, procedure.PlaneSingle)}
	return r
}

func interim() *procedure.Report {
	r := header(4)
	r.Scope, r.ScopeUID = procedure.ScopeToThisPoint, uidRoot+"4.8"
	r.Complete = false
	e := exposure(r, procedure.PlaneSingle, procedure.Stationary, 0.031)
	e.Label, e.LabelType = "4", dcm("113608", "Acquisition Number")
	e.Side = sct("7771000", "Left")
	e.Images = []procedure.ImageReference{
		{ClassUID: xaImage, InstanceUID: uidRoot + "4.20", SeriesUID: uidRoot + "4.5", StudyUID: r.StudyUID},
		{ClassUID: xaImage, InstanceUID: uidRoot + "4.21", SeriesUID: uidRoot + "4.5", StudyUID: r.StudyUID},
	}
	e.Technique.ExposureIndex, e.Technique.TargetIndex, e.Technique.Deviation = some(310.0), some(300.0), some(-0.4)
	e.Filters = append(e.Filters, procedure.Filter{Type: procedure.FilterWedge, Metal: procedure.Lead, Material: sct("88488004", "Lead"), Max: some(quantity.Millimetre(1)), Min: some(quantity.Millimetre(0))})
	e.Persons = []procedure.Person{{Name: "Operator^Two", ID: "p2", Issuer: "Saltmarsh", Organization: "Saltmarsh Regional", RoleInProcedure: dcm("113851", "Irradiation Administering")}}
	r.Events = append(r.Events, e)
	r.Planes = []procedure.PlaneTotal{total(r, procedure.PlaneSingle)}
	return r
}

// underAndOverTable is a fluoroscopy table with its tube under, then over the table top.
func underAndOverTable() *procedure.Report {
	r := header(5)
	for i, point := range []procedure.Code{dcm("113862", "1cm above Tabletop"), dcm("113863", "30cm above Tabletop")} {
		e := exposure(r, procedure.PlaneSingle, procedure.Fluoroscopy, 0.008)
		e.RefPoint.Code = point
		e.Mechanics = procedure.Mechanics{
			Column: some(quantity.Degree(0)), SourceToDetector: some(quantity.Millimetre(1100)),
			SourceToReference: some([]quantity.Millimetre{660, 700}[i]), SourceToTable: some([]quantity.Millimetre{650, 1000}[i]),
			TableLongitudinal: some(quantity.Millimetre(30)), TableLateral: some(quantity.Millimetre(-5)), TableHeight: some(quantity.Millimetre(80)),
			TableHeadTilt: some(quantity.Degree(-15)), TableRotation: some(quantity.Degree(0)), TableCradleTilt: some(quantity.Degree(0)),
		}
		r.Events = append(r.Events, e)
	}
	r.Planes = []procedure.PlaneTotal{total(r, procedure.PlaneSingle)}
	r.Planes[0].RefPoint = procedure.ReferencePoint{Text: "1 cm above the table top, 30 cm above it with the tube over"}
	return r
}

func qualityControl() *procedure.Report {
	r := header(6)
	r.Intent, r.Purpose = dcm("113680", "Quality Control Intent"), procedure.PurposeQualityControl
	e := exposure(r, procedure.PlaneSingle, procedure.Fluoroscopy, 0.002)
	e.Technique.Pulsed, e.Technique.PulseRate, e.Technique.Pulses, e.Technique.PulseWidths = false, quantity.Opt[quantity.PerSecond]{}, quantity.Opt[float64]{}, nil
	e.Technique.Currents = nil
	e.Technique.Exposures, e.Technique.ExposureTime = []quantity.MilliampereSecond{36.5}, quantity.Opt[quantity.Second]{}
	e.Filters = []procedure.Filter{{Type: procedure.FilterNone}, {Type: procedure.FilterFlat, Metal: procedure.Aluminium, Material: aluminium, Min: some(quantity.Millimetre(1)), Max: some(quantity.Millimetre(1))}}
	r.Events = []procedure.Event{e}
	r.Planes = []procedure.PlaneTotal{total(r, procedure.PlaneSingle)}
	return r
}

// shapes are the six kinds of report that the outside checks look at.
func shapes() map[string]*procedure.Report {
	return map[string]*procedure.Report{
		"single-plane": singlePlane(), "biplane": biplane(), "no-mechanics": noMechanics(),
		"interim": interim(), "under-and-over-table": underAndOverTable(), "quality-control": qualityControl(),
	}
}

func written(t testing.TB, r *procedure.Report, opt rdsr.WriteOptions) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, rdsr.Write(&out, r, opt))
	return out.Bytes()
}

// encoded writes a data set that a test has changed.
func encoded(t testing.TB, set dicomio.DataSet) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, dicomio.Write(&out, set, dicomio.ExplicitLittleEndian))
	return out.Bytes()
}
