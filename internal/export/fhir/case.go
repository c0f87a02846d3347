package fhir

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
)

// ErrUnmet marks a procedure whose report does not have what the profile of a dose summary demands.
var ErrUnmet = errors.New("profile of the dose summary not met")

// Case is a procedure with its newest estimate.
type Case struct {
	// ID is opaque, of at most 38 letters and digits; Version counts the estimates from 1.
	ID      string
	Version int
	MadeAt  time.Time
	Program string
	// Change says in words what differs from the estimate before.
	Change string
	// Reissued tells that an estimate was told as final before this one; Replaced that the procedure was made from announced
	// totals and a dose report came afterwards; Announced that it is made from such totals.
	Reissued, Replaced, Announced bool

	Patient    Person
	Accession  string
	Device     Equipment
	Assessment assessment.Assessment

	// Organs is nil while nothing was computed. OrgansReason says why there are none and never will be.
	Organs       *organ.Doses
	OrgansReason string
	OrgansAt     time.Time
}

// Person is a patient record.
type Person struct {
	ID, Number, Issuer, Name string
	BirthDate                string // 2006-01-02 or ""
	Sex                      string // M, F, O or ""
	// Survivor is the record that stands for it after links, "" for itself.
	Survivor string
}

// Equipment is what is known of a device.
type Equipment struct {
	ID, UID, Name, Manufacturer, Model, Serial, Station, Room string
	Software                                                  []string
}

// The parts of a case, which end the ids of its resources.
const (
	PartSummary    = "summary"
	PartPeak       = "peak-skin-dose"
	PartEffective  = "effective-dose"
	PartOrgans     = "organ-doses"
	PartOwnBeams   = "effective-dose-own-beams"
	PartReport     = "report"
	PartProvenance = "provenance"
)

// Parts lists the Observations of a case in their order.
func Parts() []string {
	return []string{PartSummary, PartPeak, PartEffective, PartOrgans, PartOwnBeams}
}

// writer writes the resources of one case: as a server of our own gives them, or to be sent to another, where references to
// what is not sent along are by identifier alone.
type writer struct {
	Case
	sent bool
}

func (w writer) id(part string) string { return w.ID + "." + part }

// Unmet lists what the profile of a dose summary demands and the procedure does not have, in words; none when it is met.
func (c Case) Unmet() []string {
	var all []string
	p := c.Assessment.Procedure
	if p.Purpose == procedure.PurposeQualityControl {
		return []string{"the irradiation was of a test object: there is no patient"}
	}
	switch n := len(c.authorizing()); n {
	case 1:
	case 0:
		all = append(all, "the report names no person who authorized the irradiation; Observation.performer wants exactly one")
	default:
		all = append(all, fmt.Sprintf("the report names %d persons who authorized the irradiation; Observation.performer wants exactly one", n))
	}
	if clean(c.Patient.Number) == "" {
		all = append(all, "the report names no patient number; Observation.subject wants a patient who can be found by it")
	}
	if !isUID(p.StudyUID) {
		all = append(all, "the report has no study instance UID; Observation.partOf wants the study")
	}
	if p.Start.IsZero() {
		all = append(all, "the report gives no start of the irradiation; Observation.effective wants it")
	}
	return all
}

// authorizing lists the persons who authorized the irradiation, each once, those with neither identifier nor name left out.
func (c Case) authorizing() []procedure.Person {
	var all []procedure.Person
	seen := map[string]bool{}
	for _, p := range c.Assessment.Procedure.Persons {
		key := "id " + clean(p.ID) + " " + clean(p.Issuer)
		if clean(p.ID) == "" {
			key = "name " + clean(p.Name)
		}
		if !authorizing(p) || clean(p.ID)+clean(p.Name) == "" || seen[key] {
			continue
		}
		seen[key] = true
		all = append(all, p)
	}
	return all
}

// status gives the status of an Observation; reissued ones were told as final before.
func (c Case) status(reissued bool) string {
	switch {
	case c.Replaced:
		return "entered-in-error"
	case c.Assessment.Procedure.State == procedure.Provisional:
		return "preliminary"
	case reissued || c.Assessment.Procedure.State == procedure.Amended:
		return "amended"
	}
	return "final"
}

// start gives the start of irradiation. Where the offset from UTC is not known it is the day alone: a time without its offset
// has no form in FHIR.
func (c Case) start() string {
	m := c.Assessment.Procedure.Start
	switch {
	case m.IsZero():
		return ""
	case m.DateOnly || m.Offset == procedure.OffsetUnknown:
		return m.LocalDate()
	}
	return m.Time.Format("2006-01-02T15:04:05Z07:00")
}

func instant(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2006-01-02T15:04:05.000Z")
}

// urn names a resource of a transaction; the same case and part have the same name each time.
func (w writer) urn(part string) string {
	sum := sha256.Sum256([]byte(SystemResource + " " + w.id(part)))
	b := sum[:16]
	b[6], b[8] = b[6]&0x0f|0x80, b[8]&0x3f|0x80 // RFC 9562, version 8: made from what it names
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", b[0:4], b[4:6], b[6:8], b[8:10], b[10:16])
}

// to points to a resource of the case.
func (w writer) to(kind, part string) Reference {
	if w.sent {
		return Reference{Reference: w.urn(part), Type: kind}
	}
	return Reference{Reference: kind + "/" + w.id(part), Type: kind}
}

// identified is an identifier that this program gives a resource of the case.
func (w writer) identified(part string) Identifier {
	return Identifier{System: SystemResource, Value: w.id(part)}
}

func (w writer) meta(version string, made time.Time, profiles ...string) *Meta {
	if !w.sent {
		return &Meta{VersionID: version, LastUpdated: instant(made), Profile: profiles}
	}
	if len(profiles) == 0 {
		return nil
	}
	return &Meta{Profile: profiles}
}

func (w writer) header(kind, part, version string, made time.Time, profiles ...string) Header {
	h := Header{Type: kind, Meta: w.meta(version, made, profiles...)}
	if !w.sent {
		h.ID = w.id(part)
	}
	return h
}

// clean takes away what no FHIR string may hold: control characters, and spaces at the ends.
func clean(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, " ")))
}

// isUID tells whether a text has the characters and the length of a UID (PS3.5, 9.1).
func isUID(s string) bool { return s != "" && len(s) <= 64 && strings.Trim(s, "0123456789.") == "" }

// Codes gives the codes that the Observation of a part has.
func Codes(part string) []Coding { return codeOf(part).Coding }

// codeOf is what the Observation of a part is about.
func codeOf(part string) Concept {
	switch part {
	case PartSummary:
		return summaryCode()
	case PartPeak:
		return own(PartPeak, "Estimated peak skin dose")
	case PartEffective:
		return effectiveCode(PartEffective, "Effective dose estimated by published coefficients")
	case PartOrgans:
		return own(PartOrgans, "Organ doses computed for the procedure's own beams")
	case PartOwnBeams:
		return effectiveCode(PartOwnBeams, "Effective dose computed for the procedure's own beams")
	}
	return Concept{}
}
