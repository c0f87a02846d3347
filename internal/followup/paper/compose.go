package paper

import (
	"fmt"
	"strings"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/wording"
)

// composer makes one paper in one language.
type composer struct {
	Input
	kind  Kind
	l     wording.Language
	edges level.Edges
}

// Compose makes a paper. It returns ErrRefused for a kind or language that there is none of, for an exposure of a test
// object, for a patient without a name, and for a paper that could not say whom to call.
func Compose(kind Kind, language string, in Input) (Document, error) {
	c := &composer{Input: in, kind: kind, edges: in.Assessment.Levels.Edges()}
	if !Languages().Has(language) {
		return Document{}, fmt.Errorf("%w: there is no language %q, wanted is one of %s", ErrRefused, language, strings.Join(Languages().Tags(), ", "))
	}
	c.l = Languages().In(language)
	if err := c.check(); err != nil {
		return Document{}, err
	}
	d := c.frame()
	switch kind {
	case PatientSheet:
		d.Blocks = c.sheet()
	case DoctorLetter:
		d.Blocks = c.letter()
		d.Return, d.Address = c.returnLine(), append([]string{}, in.Recipient...)
	case PhysicistReport:
		d.Blocks = c.report()
	default:
		return Document{}, fmt.Errorf("%w: there is no paper %q", ErrRefused, kind)
	}
	return d, nil
}

func (c *composer) check() error {
	switch {
	case c.Assessment.Procedure.Purpose == procedure.PurposeQualityControl:
		return fmt.Errorf("%w: the case is about a test object, not a patient", ErrRefused)
	case len(c.Recipient) > maxRecipient:
		return fmt.Errorf("%w: the address has %d lines, the window holds %d", ErrRefused, len(c.Recipient), maxRecipient)
	case c.kind == PhysicistReport:
		return nil
	case Called(c.Person.Name) == "":
		return fmt.Errorf("%w: the reports name no patient, so that it could be handed to the wrong one", ErrRefused)
	case c.Site.Phone == "" || c.Site.Centre == "":
		return fmt.Errorf("%w: the settings site.centre and site.phone say whom to call, and they are not given", ErrRefused)
	}
	return nil
}

// maxRecipient is how many lines an address may have.
const maxRecipient = 6

// frame fills all of a document but its blocks.
func (c *composer) frame() Document {
	s := c.Site
	contact := append([]string{}, s.Address...)
	if s.Phone != "" {
		contact = append(contact, c.text("contact.phone", "phone", s.Phone))
	}
	if s.Mail != "" {
		contact = append(contact, s.Mail)
	}
	title := c.text("title." + strings.ReplaceAll(string(c.kind), "-", "_"))
	return Document{
		Kind: c.kind, Language: c.l.Tag(), Title: title, Centre: s.Centre, Department: s.Department, Contact: contact,
		Banner: c.banner(), Made: c.Stamp.Made, Program: c.Stamp.Program, PageOf: c.text("page_of"),
		Foot: c.text("foot", "paper", c.Stamp.ID, "case", c.Estimate.Case, "version", c.Estimate.Number, "estimated", c.l.Moment(c.Estimate.MadeAt)+zone(c.Estimate.MadeAt),
			"made", c.l.Moment(c.Stamp.Made)+zone(c.Stamp.Made), "by", c.Stamp.By, "program", c.Stamp.Program),
	}
}

// banner names the patient.
func (c *composer) banner() string {
	name := Called(c.Person.Name)
	if name == "" {
		name = c.dash(c.text("banner.no_name"))
	}
	born := c.dash(c.text("not_reported"))
	if c.Person.BirthDate != "" {
		born = c.day(c.Person.BirthDate)
	}
	number := c.Person.Number
	if number == "" {
		number = c.dash(c.text("not_reported"))
	}
	return c.text("banner.line", "name", name, "born", born, "number", number)
}

func (c *composer) returnLine() string {
	return strings.Join(append([]string{c.Site.Centre}, c.Site.Address...), " · ")
}

// caseDay is the local day of the case.
func (c *composer) caseDay() string { return c.Assessment.Procedure.Start.LocalDate() }

// state is the worst of the states of the case and of the sums over windows.
func (c *composer) state() level.State {
	worst := c.Assessment.Levels.State
	for _, s := range c.Sums {
		worst = min(worst, s.Levels.State)
	}
	return worst
}
