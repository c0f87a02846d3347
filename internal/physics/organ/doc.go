// Package organ computes organ doses and the effective dose of a procedure from the beams that this patient had, by photon
// transport through the stylised body: THEORY.md part 10.
//
// Three things to know: Group joins the shots of a procedure into beams with the kerma-area product that reaches the patient;
// Compute follows photons through the body for each of them and adds the organs up; Doses is what came out, with ranges and
// all that it rests on.
//
// Nothing here is a personal risk: effective dose belongs to a reference person. All is an estimate and bows to the medical
// physicist, licensed practice and local rules.
package organ
