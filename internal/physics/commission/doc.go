// Package commission finds out from a test report of known exposures what a device means by its table positions and
// angles, and compares its dose display with a dosimeter.
//
// A reader needs three things: Protocol is the form that a physicist fills in while making the exposures; Read takes the
// filled form as a Record; Check sets the record against the dose report and gives a Result: conclusions, each with the
// events that prove it, and a draft of the device's profile. What the exposures do not show stays open with the reason, and
// what they show in two ways is a contradiction; neither is ever filled by a guess.
//
// Room axes are X to the table's left, Y down, Z to the table's head, as in package exposure. Equations are those of THEORY.md
// section 11.
package commission
