// Package rdsr turns X-ray radiation dose structured reports (DICOM PS3.16 TID 10001 with 10002, 10003, 10004, 10006
// and 10007) into procedure.Report and back.
//
// A reader needs three things: Read takes the received bytes and gives a Report whose Findings name all that was odd,
// missing, repaired or not believed, or a clear refusal (ErrCT, ErrNoDoseTree, ...); Write makes a conforming object
// from a Report; the row tables (rows_event.go, rows_total.go) list each content item once, for both ways.
//
// Items are matched by code value and scheme in all generations of codes, never by their order or their meaning text.
// Values are converted to canonical units once, here. A value that cannot be understood is absent, never zero.
package rdsr
