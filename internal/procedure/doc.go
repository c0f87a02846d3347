// Package procedure holds the nouns of the field - Report, Event, Finding, Device, Patient, Procedure - and the rules
// by which reports of one study become one procedure. It does no input or output.
//
// A reader needs three things: Report is what one dose report says, with Findings for all that was odd; Merge joins
// reports into Procedures by study, device and irradiation event; DeviceProfile and Facts carry what people add.
package procedure
