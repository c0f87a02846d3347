// Package transport follows photons of 5 to 150 keV through layered slabs and through the stylised body, by Monte Carlo in
// the kerma approximation: THEORY.md part 9. It checks the factors of skin dose and is the ground for organ doses.
//
// Three things to know: a World says what is where (regions of quadrics, or a slab); a Plan adds the source, the detectors,
// the number of histories and the seed; Run gives the tallies, the same bits on any number of workers.
package transport
