package exposure

import (
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/quantity"
)

// Shot is one static beam in body axes: a whole event, or one step of an arc or of a moving table.
type Shot struct {
	// Event is the index of the irradiation event in the procedure.
	Event int
	// Kerma is the reference air kerma of this shot.
	Kerma quantity.Gray
	// RefDistance is focus to reference point.
	RefDistance quantity.Millimetre
	// Focus is the focal spot in body axes, mm.
	Focus r3.Vec
	// Toward is the unit vector from focus to detector; Across and Along are the unit vectors of field width and
	// height, with Across x Along = Toward.
	Toward, Across, Along r3.Vec
	// HalfWidth and HalfHeight are half the field size at unit distance from the focus (tangents, no unit).
	HalfWidth, HalfHeight float64
	// Table is the table that carries the patient, nil where there is none in the way (for example patient standing).
	Table *Table
	// Quality is the beam before the table.
	Quality beam.Quality
	// Anchored tells that the isocentre's height is known against the table top: a deeper patient then rises from the
	// table; else the patient's mid-plane stays where it is.
	Anchored bool
	// Along the arc of a rotational run the steps lie from -1 at its start to 1 at its end; 0 for all other beams.
	OnArc float64
	// Else are the beams that this one may have been instead, as of a rotational run whose end is not known: at the same
	// angles and in the same order for every such shot of a course. The worst angle counts. Nil when there is no doubt.
	Else []Shot
}

// Table is the slab under the patient in body axes.
type Table struct {
	// Centre is the middle of the top surface in body axes, mm; Down the unit normal from the patient into the table.
	Centre, Down r3.Vec
	// Left and Head are the unit vectors across and along the table; HalfWidth and HalfLength its extent in mm.
	Left, Head            r3.Vec
	HalfWidth, HalfLength float64
	Layers                []beam.Layer
}
