// Package exposure turns the irradiation events of a procedure into beams in the axes of the patient's body.
//
// A reader needs three things: Trace makes a Course from a procedure, its device profile, what people added and the
// body; Course.Shots are the static beams, each with its table and beam quality; Course.Unplaced, Assumptions, Findings
// and Knowledge say what could not be placed, what was taken for granted and how well the rest is known.
//
// Room axes are X to the table's left, Y down, Z to the table's head; patient axes L left, P posterior, H head, both
// with the origin at the isocentre; body axes are the patient's with the origin at the trunk base. Equations are those
// of THEORY.md section 5.
package exposure
