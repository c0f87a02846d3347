// Package effective turns kerma-area product into effective dose by published coefficients, with a range.
//
// A reader needs three things: Dose takes a procedure and gives an Estimate with all that it rests on; the rows of
// coefficients.csv are the only numbers behind it, each with its source and how it is known; Weighted is the
// definition, from organ doses and the tissue weights of ICRP 60 or ICRP 103.
//
// Effective dose belongs to a reference person. It compares kinds of procedure and techniques; it says nothing about
// skin and nothing about the risk of one patient.
package effective
