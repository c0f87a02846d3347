package demo

import (
	"encoding/csv"
	"strings"
	"time"

	"afterbeam/internal/procedure"
)

// Performed is the centre's own table of what was performed, as its records would give it: every case of a patient, one of
// whose reports is filed under another study there, one procedure whose report never came, and one that was cancelled.
func Performed() string {
	rows := [][]string{performedColumns()}
	scenes := allScenes()
	for _, s := range scenes {
		if s.purpose == procedure.PurposeQualityControl {
			continue
		}
		row := s.performed()
		if s.file == filedElsewhere {
			row[0] = uid("study", "ordered", s.file)
		}
		rows = append(rows, row)
	}
	// The patient of the first case came again on the next day.
	lost := scenes[0]
	lost.file, lost.accession, lost.description = "lost", "SYN26-0915", "Diagnostic angiography of the iliac arteries"
	lost.start, lost.minutes, lost.room = lost.start.AddDate(0, 0, 1), 40, cath2()
	cancelled := lost
	cancelled.file, cancelled.accession, cancelled.start = "cancelled", "SYN26-0916", lost.start.AddDate(0, 0, 1)
	never := cancelled.performed()
	never[2] = "cancelled"
	rows = append(rows, lost.performed(), never)
	var b strings.Builder
	w := csv.NewWriter(&b)
	_ = w.WriteAll(rows) // a strings.Builder takes everything
	return b.String()
}

func performedColumns() []string {
	return []string{
		"study_uid", "accession_number", "excluded", "start", "end", "room", "patient_id", "patient_id_issuer", "birth_date", "sex",
		"procedure_description", "operator", "operator_id", "operator_id_issuer",
	}
}

// filedElsewhere is the case whose report stands under another study than the one that was ordered.
const filedElsewhere = "hybrid1-arch-repair.dcm"

// performed is the row of one case.
func (s scene) performed() []string {
	p := s.patient.patient(s.start)
	operator := procedure.Person{}
	if len(s.operators) > 0 {
		operator = s.operators[0]
	}
	// The record begins when the patient comes in.
	const form = "2006-01-02T15:04Z07:00"
	return []string{
		uid("study", s.file), s.accession, "", s.start.Add(-20 * time.Minute).Format(form),
		s.start.Add(time.Duration(s.minutes+15) * time.Minute).Format(form), s.room.device.Room, p.ID, p.Issuer, p.BirthDate, p.Sex,
		s.description, operator.Name, operator.ID, operator.Issuer,
	}
}
