// Package demo is the project's own scenario: invented cases of the invented Saltmarsh Regional Heart & Vascular Centre,
// told as dose reports. No person, hospital, maker or measurement in it is real, and every report says so.
//
// Start with Cases for the reports and Profiles for what the physicists of the centre have signed for about their rooms;
// WriteAll puts the cases into a folder as files, ProfileFile is the profiles' own file. The same call gives the same bits
// every time.
//
// Year gives a year of the same centre: many cases with few events each, drawn from the distributions of year.csv, with what is
// missing or late in the records of a real year, and with what its people answer when they are asked.
//
// The cases are tables (aortic.go, cardiac.go, other.go): who, where, which views, how long, how much. One small generator
// (plan.go, expose.go, total.go) turns a table into irradiation events that hang together physically. All numbers of the
// scenario are invented for the demonstration; the order of their size follows the published surveys that the tables name.
package demo

// Notice is what every page, print and file that shows this scenario must say.
const Notice = "synthetic demonstration data: no patient, person, hospital, maker or measurement in it is real"

// comment goes into each report's comment.
const comment = "synthetic demonstration data"
