package plausible

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

// eventMissing names what an event lacks and what that does to the results.
func eventMissing(r *procedure.Report, e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	lack := func(absent bool, severity procedure.Severity, item, text string) {
		if absent {
			notes.Add("missing", severity, at.Of(item), text)
		}
	}
	m := &e.Mechanics
	lack(!e.RefKerma.Present(), procedure.Reduced, nameKerma, "no air kerma: the event gives no skin dose")
	lack(!e.KAP.Present(), procedure.Reduced, nameKAP, "no kerma-area product: the event gives no effective dose")
	lack(len(e.Technique.Voltages) == 0, procedure.Reduced, "KVP", "no tube voltage: beam quality is assumed")
	lack(len(e.Filters) == 0, procedure.Reduced, "X-Ray Filters", "no filter: beam quality is assumed")
	eventPlace(r, e, lack)
	lack(!e.Field.Area.Present() && (!e.Field.Height.Present() || !e.Field.Width.Present()), procedure.Reduced,
		"Collimated Field Area", "no field size: it follows from KAP over air kerma where both are known")
	lack(e.RefKerma.Present() && !m.SourceToReference.Present() && e.RefPoint.Code.IsZero(), procedure.Reduced,
		"Reference Point Definition", "neither code nor distance of the reference point: it is assumed")
	lack(e.Direction == procedure.DirectionUnknown || e.Posture == procedure.PostureUnknown, procedure.Reduced,
		"Patient Orientation", "orientation not fully known: head first and supine is assumed")
}

// eventPlace names what is missing of angles, distances and table.
func eventPlace(r *procedure.Report, e *procedure.Event, lack func(bool, procedure.Severity, string, string)) {
	m := &e.Mechanics
	angles := m.Primary.Present() && m.Secondary.Present()
	table := (m.TableLongitudinal.Present() && m.TableLateral.Present() && m.TableHeight.Present()) ||
		(m.TableX.Present() && m.TableY.Present() && m.TableZ.Present())
	if !angles && !table && r.MechanicalData == procedure.AvailabilityNo {
		lack(true, procedure.Reduced, "X-Ray Mechanical Data", "the report says that it has no mechanical data: no map of the skin")
		return
	}
	lack(!angles && !m.Column.Present(), procedure.Reduced, "Positioner Primary Angle", "no positioner angles: no map of the skin")
	lack(!table, procedure.Reduced, "Table Position", "no full table position: the place of the patient is assumed")
	lack(!m.SourceToDetector.Present(), procedure.Reduced, "Distance Source to Detector", "no distance to the detector: the field is assumed")
	lack(!m.SourceToIsocentre.Present(), procedure.Reduced, "Distance Source to Isocenter", "no distance to the isocentre: it is assumed")
}

// reportMissing names what the report as a whole lacks.
func reportMissing(r *procedure.Report, notes *notebook.Notebook) {
	lack := func(absent bool, item, text string) {
		if absent {
			notes.Add("missing", procedure.Reduced, notebook.Place{Item: item}, text)
		}
	}
	lack(len(r.Events) == 0, "Irradiation Event X-Ray Data", "no irradiation events: results come from the totals alone")
	lack(len(r.Planes) == 0, "Accumulated X-Ray Dose Data", "no accumulated dose: results come from the events alone")
	lack(r.DeviceKind.IsZero(), "Acquisition Device Type", "no device type: read as a fluoroscopy system")
	planes := map[procedure.Plane]bool{}
	for i := range r.Planes {
		t := &r.Planes[i]
		planes[t.Plane] = true
		if !t.RefKerma.Present() {
			notes.Add("missing", procedure.Reduced, notebook.TotalPlace(t).Of("Dose (RP) Total"), "no total air kerma")
		}
		if !t.KAP.Present() {
			notes.Add("missing", procedure.Reduced, notebook.TotalPlace(t).Of("Dose Area Product Total"), "no total kerma-area product")
		}
		acquired := t.AcquisitionKAP.Present() || t.AcquisitionKerma.Present()
		if !acquired && hasAcquisition(r, t.Plane) {
			notes.Add("missing", procedure.Reduced, notebook.TotalPlace(t).Of("Acquisition Dose (RP) Total"), "no acquisition totals although there are acquisitions")
		}
	}
	for i := range r.Events {
		if p := r.Events[i].Plane; len(r.Planes) > 0 && !planes[p] && !planes[procedure.PlaneAll] {
			planes[p] = true
			notes.Addf("missing", procedure.Reduced, notebook.Place{Item: "Accumulated X-Ray Dose Data"}, "events of %v but no accumulated dose of it", p)
		}
	}
	if len(r.Sources) == 1 && r.Sources[0].Is("113858", "DCM") {
		notes.Add("source-step", procedure.Note, notebook.Place{Item: "Source of Dose Information"}, "the only source is the performed procedure step: no air kerma and no events are to be expected")
	}
}

func hasAcquisition(r *procedure.Report, plane procedure.Plane) bool {
	for i := range r.Events {
		e := &r.Events[i]
		if e.Plane == plane && e.Type != procedure.Fluoroscopy && e.Type != procedure.EventUnknown {
			return true
		}
	}
	return false
}
