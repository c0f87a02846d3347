// Package quantity holds the units that the project computes with, the values that may be absent, the reading of
// UCUM unit codes and the one way numbers are printed.
//
// A bare float64 that carries a unit does not cross a function's border: it is one of the named types here. Canonical
// units inside are Gy, Gy m2, mm and s; conversion happens once, at the edge, by ParseUnit. A value a report may lack
// is an Opt: absent is not zero.
package quantity
