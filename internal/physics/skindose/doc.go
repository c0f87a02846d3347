// Package skindose estimates the absorbed dose in the skin from static X-ray beams on a body: a map of dose by patch, its
// peak, and a range.
//
// A reader needs three things: Evaluate takes a procedure and gives an Estimate by the best method its data allow, with
// the reason; Irradiate is eq. (6.1) of the theory summed over shots on a body; Accumulate adds maps of several
// procedures on one body. An estimate is never a measurement; it comes with a range (k=2) and informs people, it does
// not decide for them.
package skindose
