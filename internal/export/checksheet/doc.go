// Package checksheet writes what the check of a device found out as a sheet that two physicists sign.
//
// Of makes a Sheet of a result; Sheet.Text writes it for a terminal and plain paper, Sheet.HTML as one page without anything from
// elsewhere, and Sheet.Document gives it to package paperpdf. It computes nothing: numbers and reasons are those of package commission.
package checksheet
