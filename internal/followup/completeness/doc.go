// Package completeness compares the procedures that were performed with the dose reports that came: which procedure has
// none and why nothing fits, and which report belongs to no procedure that is known. Compare is all of it: pure, and its
// result does not depend on the order of what it is given.
package completeness
