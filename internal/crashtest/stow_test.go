package crashtest_test

import (
	"fmt"
	"net/http"
	"strings"
	"time"
)

// overStow tells which parcels go in as DICOMweb Store requests: a third of them, the same ones each time.
func overStow(p parcel) bool { return p.digest < "5" }

// stow sends one parcel as a DICOMweb Store request and tells whether it was acknowledged, or refused as it must be. The
// answer names no receipt.
func (l *load) stow(address string, p parcel) bool {
	entry := line{What: "will", Door: "stow", Digest: p.digest, Kind: p.kind}
	if err := l.ledger.write(entry); err != nil {
		l.fault("%v", err)
		return true
	}
	body := fmt.Appendf(nil, "--edge-of-%s\r\nContent-Type: application/dicom\r\n\r\n%s\r\n--edge-of-%[1]s--\r\n", p.digest[:16], p.raw)
	media := `multipart/related; type="application/dicom"; boundary=edge-of-` + p.digest[:16]
	status, header, text, err := exchange(address, http.MethodPost, "/dicomweb/studies", l.site.door, media, body)
	if err != nil {
		time.Sleep(pauseBetween)
		return false // no answer, or only a part of one
	}
	expected := map[kind]int{dose: http.StatusOK, odd: http.StatusAccepted, junk: http.StatusBadRequest}[p.kind]
	switch {
	case status == http.StatusServiceUnavailable:
		if header.Get("Retry-After") == "" {
			l.fault("503 without Retry-After")
		}
		time.Sleep(pauseBetween)
		return false
	case status != expected:
		l.fault("%s object %s: status %d: %s", p.kind, p.digest, status, text)
	case strings.Contains(string(text), `"00081199"`) != (p.kind != junk):
		l.fault("%s object %s: the answer does not say what became of it: %s", p.kind, p.digest, text)
	}
	entry.What, entry.Status = "answer", status
	if err := l.ledger.write(entry); err != nil {
		l.fault("%v", err)
	}
	return true
}
