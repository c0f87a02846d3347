package crashtest_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"net/http"
	"path/filepath"
)

// most is how many receipts, files and patients are asked for one by one.
const most = 200

// over compares what the interface answers with the ledger and the truth.
func (c *checker) over(p *process, w *world) error {
	if err := c.receiptsOver(p); err != nil {
		return err
	}
	sums, err := c.proceduresOver(p, w)
	if err != nil {
		return err
	}
	return c.patientsOver(p, sums)
}

// receiptsOver asks for receipts that senders were given, and for the bytes.
func (c *checker) receiptsOver(p *process) error {
	accounts, err := readLedger(filepath.Join(c.site.dir, "ledger"))
	if err != nil {
		return err
	}
	asked := 0
	for digest, a := range accounts {
		for id := range a.receipts {
			if asked++; asked > most {
				return nil
			}
			var receipt struct {
				Digest string `json:"digest_sha256"`
				State  string
			}
			if err := ask(p.address, http.MethodGet, "/v1/receipts/"+id, c.site.door, nil, &receipt, http.StatusOK); err != nil {
				return err
			}
			want := map[kind]string{dose: "read", odd: "quarantined"}[a.kind]
			if receipt.Digest != digest || receipt.State != want {
				return fmt.Errorf("receipt %s: wanted %s %s, got %s %s", id, want, digest, receipt.State, receipt.Digest)
			}
			status, raw, err := call(p.address, http.MethodGet, "/v1/receipts/"+id+"/file", c.site.eye, "", nil)
			if err != nil {
				return err
			}
			if sum := sha256.Sum256(raw); status != http.StatusOK || hex.EncodeToString(sum[:]) != digest {
				return fmt.Errorf("file of receipt %s: status %d, %d bytes that are not those sent", id, status, len(raw))
			}
		}
	}
	return nil
}

// proceduresOver walks the list of procedures, compares each with the truth and gives the sum of kerma by patient number.
func (c *checker) proceduresOver(p *process, w *world) (map[string]float64, error) {
	seen, sums := map[string]bool{}, map[string]float64{}
	for after := ""; ; {
		var page struct {
			Procedures []struct {
				StudyUID string `json:"study_uid"`
				Dose     struct {
					Kerma   *float64 `json:"kerma_gy"`
					KAP     *float64 `json:"kap_gy_cm2"`
					Minutes *float64 `json:"fluoroscopy_min"`
				}
			}
			Next *string
		}
		path := "/v1/procedures?limit=100"
		if after != "" {
			path += "&after=" + after
		}
		if err := ask(p.address, http.MethodGet, path, c.site.eye, nil, &page, http.StatusOK); err != nil {
			return nil, err
		}
		for _, one := range page.Procedures {
			want, known := w.truth[one.StudyUID]
			if !known || seen[one.StudyUID] {
				return nil, fmt.Errorf("study %s is listed and was not sent, or is listed twice", one.StudyUID)
			}
			seen[one.StudyUID] = true
			sums[want.Patient] += want.Kerma
			if d := one.Dose; !near(d.Kerma, want.Kerma) || !near(d.KAP, want.KAP*1e4) || !near(d.Minutes, want.Seconds/60) {
				return nil, fmt.Errorf("study %s over HTTP: wanted %v, got %s Gy, %s Gy cm2, %s min", one.StudyUID, want, shown(d.Kerma), shown(d.KAP), shown(d.Minutes))
			}
		}
		if page.Next == nil {
			break
		}
		after = *page.Next
	}
	if len(seen) != len(w.truth) {
		return nil, fmt.Errorf("%d procedures are listed, %d were sent", len(seen), len(w.truth))
	}
	return sums, nil
}

// patientsOver finds patients by number and compares their cumulative kerma.
func (c *checker) patientsOver(p *process, sums map[string]float64) error {
	asked := 0
	for number, want := range sums {
		if asked++; asked > most {
			return nil
		}
		var found struct{ Patients []struct{ ID string } }
		if err := ask(p.address, http.MethodPost, "/v1/patients/search", c.site.eye, map[string]any{"number": number, "issuer": "Saltmarsh (synthetic)"}, &found, http.StatusOK); err != nil {
			return err
		}
		if len(found.Patients) != 1 {
			return fmt.Errorf("patient %s: %d records", number, len(found.Patients))
		}
		var dose struct {
			Windows []struct {
				Days  *int
				Kerma *float64 `json:"kerma_gy"`
			}
		}
		if err := ask(p.address, http.MethodGet, "/v1/patients/"+found.Patients[0].ID+"/dose", c.site.eye, nil, &dose, http.StatusOK); err != nil {
			return err
		}
		for _, one := range dose.Windows {
			if one.Days == nil && (one.Kerma == nil || math.Abs(*one.Kerma-want) > 1e-7*want) {
				return fmt.Errorf("patient %s: wanted %v Gy of all time, got %s", number, want, shown(one.Kerma))
			}
		}
	}
	return nil
}
