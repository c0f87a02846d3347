package ingest

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/store"
)

// arrived is a kept report with the time at which it came.
type arrived struct {
	procedure.Report
	at time.Time
}

// merged is one procedure with the time from which it counts as complete without a closing report; the zero time when
// it does not wait for that.
type merged struct {
	procedure.Procedure
	quietAt time.Time
}

// patientsOf lists the patients of a study's reports, in the order of the reports. More than one means that somebody has
// to look: each keeps its own procedures.
func patientsOf(kept []store.Report) []string {
	var ids []string
	for _, r := range kept {
		if !slices.Contains(ids, r.PatientID) {
			ids = append(ids, r.PatientID)
		}
	}
	return ids
}

// merge joins a patient's reports of one study into procedures and says how far each has come.
func (p *Pipeline) merge(kept []store.Report, patient string) ([]merged, error) {
	var all []arrived
	for _, k := range kept {
		if k.PatientID != patient {
			continue
		}
		r, err := archive.ReadReport(k.Body)
		if err != nil {
			return nil, fmt.Errorf("report %s: %w", k.ID, err)
		}
		all = append(all, arrived{r, k.ReceivedAt})
	}
	slices.SortStableFunc(all, func(a, b arrived) int { return a.at.Compare(b.at) })
	var out []merged
	for _, whole := range procedure.Merge(reportsOf(all)) {
		if len(patientsOf(kept)) > 1 {
			whole.Findings = append(whole.Findings, procedure.Finding{
				Rule: "study-of-several-patients", Severity: procedure.Suspect, Place: "study " + whole.StudyUID,
				Text: "reports of this study name several patients: each keeps what its own reports say; review whose case it is",
			})
		}
		out = append(out, p.settled(whole, all))
	}
	return out, nil
}

// settled gives a procedure its state by the time at which its reports came. After the quiet time without a report it
// counts as complete; when a report that came later has changed what was complete by then, it is amended. That depends on
// the reports and their arrival alone, not on when the pipeline looked.
func (p *Pipeline) settled(whole procedure.Procedure, all []arrived) merged {
	own := slices.DeleteFunc(slices.Clone(all), func(r arrived) bool { return r.Device.Key() != whole.DeviceKey })
	last := own[len(own)-1].at
	m := merged{Procedure: whole}
	for i := 1; i < len(own); i++ {
		if own[i].at.Sub(own[i-1].at) < p.Quiet {
			continue
		}
		if before := procedure.Merge(reportsOf(own[:i])); len(before) != 1 || !procedure.SameDoses(before[0], whole) {
			m.State = procedure.Amended
		} else {
			m.State = max(m.State, procedure.Complete)
		}
		break
	}
	if m.State == procedure.Provisional {
		m.quietAt = last.Add(p.Quiet)
		if !p.Now().Before(m.quietAt) {
			m.State, m.quietAt = procedure.Complete, time.Time{}
		}
	}
	return m
}

func reportsOf(all []arrived) []procedure.Report {
	out := make([]procedure.Report, len(all))
	for i, r := range all {
		out[i] = r.Report
	}
	return out
}

// byCase puts cases in an order that depends on what they are and not on the ids they happened to get.
func byCase(a, b store.Case) int {
	return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.StudyUID, b.StudyUID), cmp.Compare(a.DeviceKey, b.DeviceKey))
}
