// Package beam describes diagnostic X-ray beams: tungsten spectra behind aluminium and copper, half-value layers, air
// kerma, the tissue factor, what a table lets through, and the backscatter of a water-like patient.
//
// New makes a Beam from tube voltage and filtration; Behind hardens it by a table; Transmission or Paths tell what the
// table lets through along slant rays; TissueFactor turns air kerma into absorbed dose. Scatter gives the backscatter
// factor at any point of a rectangular field. Equation numbers in comments are those of ../THEORY.md, parts 2 to 4.
//
// Not modelled: anode heel and wear of the rotating anode, voltage ripple, extrafocal radiation, diverging field in the
// backscatter, obliquity of the skin. Everything here is an estimate and bows to measurement by a medical physicist.
package beam
