package procedure

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"

	"afterbeam/internal/quantity"
)

// received is a report with the digest that tells it from others.
type received struct {
	Report
	print string
}

// canonical copies the reports in an order that depends on their content alone and drops equal data sets.
func canonical(reports []Report) []received {
	all := make([]received, len(reports))
	for i, r := range reports {
		all[i] = received{Report: r, print: reportPrint(r)}
	}
	slices.SortFunc(all, func(a, b received) int {
		return cmp.Or(
			a.Content.Time.Compare(b.Content.Time),
			cmp.Compare(a.print, b.print),
			cmp.Compare(a.BytesDigest, b.BytesDigest),
		)
	})
	seen := make(map[string]bool, len(all))
	return slices.DeleteFunc(all, func(r received) bool {
		again := seen[r.print]
		seen[r.print] = true
		return again
	})
}

// reportPrint is the digest of the data set, or of what was read from it when there is none.
func reportPrint(r Report) string {
	if r.DataSetDigest != "" {
		return r.DataSetDigest
	}
	r.BytesDigest, r.TransferSyntax = "", ""
	return fingerprint(r)
}

// eventPrint is equal for events that say the same, wherever they were said.
func eventPrint(e Event) string {
	e.ReportUID, e.Place = "", ""
	return fingerprint(e)
}

func fingerprint(v any) string {
	text, err := json.Marshal(v)
	if err != nil { // a number that JSON cannot write, such as NaN
		text = fmt.Appendf(nil, "%+v", v)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// settleReports says which reports of a procedure count, all SOP UIDs merged in, and what was odd.
func settleReports(group []received) (counted []received, uids []string, findings []Finding) {
	bySOP, byContent := make(map[string]received), make(map[string]string)
	for _, r := range group {
		place := "report " + r.SOPInstanceUID
		if first, ok := bySOP[r.SOPInstanceUID]; ok && r.SOPInstanceUID != "" {
			findings = append(findings, reused(first, r))
			continue
		}
		bySOP[r.SOPInstanceUID] = r
		uids = append(uids, r.SOPInstanceUID)
		if first, ok := byContent[r.ContentDigest]; ok && r.ContentDigest != "" {
			findings = append(findings, Finding{
				Rule: "content-repeated", Severity: Note, Place: place,
				Text: fmt.Sprintf("same content as report %s: counted once; review the identity in its header", first),
			})
			continue
		}
		byContent[r.ContentDigest] = r.SOPInstanceUID
		counted = append(counted, r)
	}
	return counted, uids, findings
}

// reused tells that a SOP UID came with another data set: only another header, or other content.
func reused(first, other received) Finding {
	place := "report " + first.SOPInstanceUID
	if first.ContentDigest != "" && first.ContentDigest == other.ContentDigest {
		return Finding{
			Rule: "header-differs", Severity: Note, Place: place,
			Text: "came again with the same content and another header: counted once; review the identity in its header",
		}
	}
	return Finding{
		Rule: "sop-uid-reused", Severity: Suspect, Place: place,
		Text: fmt.Sprintf("other content under the same SOP UID (%d events against %d): the earlier content counts, the other is kept and counts nowhere until a physicist has settled it",
			len(other.Events), len(first.Events)),
	}
}

// patientOf takes the latest report's patient and fills what it lacks from earlier reports of the same patient.
func patientOf(counted []received) (Patient, []Finding) {
	patient := counted[len(counted)-1].Patient
	var findings []Finding
	for _, r := range slices.Backward(counted) {
		q := r.Patient
		if q.ID != patient.ID || q.Issuer != patient.Issuer {
			findings = append(findings, Finding{
				Rule: "patient-differs", Severity: Suspect, Place: "report " + r.SOPInstanceUID,
				Text: "another patient identifier than the latest report of this procedure: review whose case it is",
			})
			continue
		}
		patient.Name = cmp.Or(patient.Name, q.Name)
		patient.BirthDate = cmp.Or(patient.BirthDate, q.BirthDate)
		patient.Sex = cmp.Or(patient.Sex, q.Sex)
		patient.Pregnancy = cmp.Or(patient.Pregnancy, q.Pregnancy)
		patient.AgeYears = either(patient.AgeYears, q.AgeYears)
		patient.Height = either(patient.Height, q.Height)
		patient.Weight = either(patient.Weight, q.Weight)
	}
	return patient, findings
}

// studyOf takes the latest report's study and fills what it lacks from earlier ones.
func studyOf(counted []received) Study {
	study := counted[len(counted)-1].Study
	for _, r := range slices.Backward(counted) {
		q := r.Study
		study.Description = cmp.Or(study.Description, q.Description)
		study.AccessionNumber = cmp.Or(study.AccessionNumber, q.AccessionNumber)
		study.Performed = cmp.Or(study.Performed, q.Performed)
		study.Institution = cmp.Or(study.Institution, q.Institution)
		if len(study.ProcedureCodes) == 0 {
			study.ProcedureCodes = q.ProcedureCodes
		}
		if study.Date.IsZero() {
			study.Date = q.Date
		}
	}
	return study
}

// purposeOf is quality control only when every report says so: a patient's flag is never lost to one wrong code.
func purposeOf(counted []received) (Purpose, []Finding) {
	quality := 0
	for _, r := range counted {
		if r.Purpose == PurposeQualityControl {
			quality++
		}
	}
	switch quality {
	case 0:
		return PurposePatient, nil
	case len(counted):
		return PurposeQualityControl, nil
	}
	return PurposePatient, []Finding{{
		Rule: "purpose-mixed", Severity: Reduced, Place: "study " + counted[0].StudyUID,
		Text: "some reports say quality control, others not: taken as a patient's",
	}}
}

// startOf is the earliest start of an event, else the study's date, else the earliest content time.
func startOf(events []Event, counted []received) Moment {
	for _, e := range events {
		if !e.Start.IsZero() && !e.Start.DateOnly {
			return e.Start
		}
	}
	for _, r := range counted {
		if !r.Study.Date.IsZero() {
			return r.Study.Date
		}
	}
	for _, r := range counted {
		if !r.Content.IsZero() {
			return r.Content
		}
	}
	return Moment{}
}

func either[T any](a, b quantity.Opt[T]) quantity.Opt[T] {
	if a.Present() {
		return a
	}
	return b
}
