// Package assessment puts together what one procedure gave: its class, the estimates of peak skin dose and effective dose,
// and the follow-up levels reached; and the same for several procedures of a patient in a window of time.
//
// It is pure: the same procedure, facts and method give the same assessment. A reader needs three things: Method holds all
// that decides an assessment besides the procedure, Assess makes one, Sum adds several up.
package assessment
