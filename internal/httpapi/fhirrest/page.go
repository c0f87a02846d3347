package fhirrest

import (
	"context"
	"errors"
	"slices"
	"strings"

	"afterbeam/internal/export/fhir"
	"afterbeam/internal/store"
)

// mostLooked is how many procedures one page looks into: each is read whole. A page may be shorter than was asked for, and says
// by its link next that there is more.
const mostLooked = 100

// hit is an Observation and whose it is.
type hit struct {
	*fhir.Observation
	patient string
}

// page is being filled with what a wish matches, in the order of procedures, the newest first, and of their parts.
type page struct {
	want    wish
	found   []hit
	next    string
	lacking int // procedures whose summary was asked for and has none
}

// one looks for one Observation by its id, among what else is asked for.
func (s *Server) one(ctx context.Context, c Call, id string, p *page) error {
	caseID, part, _ := strings.Cut(id, ".")
	if !slices.Contains(p.want.parts, part) {
		return nil
	}
	f := c.Grant.Narrow(p.want.filter)
	f.CaseID = caseID
	cases, err := s.cfg.Store.Cases(ctx, f)
	if err != nil || len(cases) == 0 {
		return err
	}
	p.want.parts = []string{part}
	_, err = s.take(ctx, cases[0], "", p)
	return err
}

// fill looks through the procedures from the cursor on.
func (s *Server) fill(ctx context.Context, c Call, p *page) error {
	f := c.Grant.Narrow(p.want.filter)
	if p.want.cursor != "" {
		done, err := s.resume(ctx, c, &f, p)
		if done || err != nil {
			return err
		}
	}
	const batch = 25
	for looked := 0; ; looked += batch {
		f.Limit = batch
		cases, err := s.cfg.Store.Cases(ctx, f)
		if err != nil {
			return err
		}
		for _, one := range cases {
			full, err := s.take(ctx, one, "", p)
			if full || err != nil {
				return err
			}
			f.After = one.ID
		}
		if len(cases) < batch {
			return nil
		}
		if looked+batch >= mostLooked {
			p.next = f.After + "." + lastPart()
			return nil
		}
	}
}

// resume goes on behind the Observation that a cursor names.
func (s *Server) resume(ctx context.Context, c Call, f *store.Filter, p *page) (done bool, err error) {
	caseID, part, _ := strings.Cut(p.want.cursor, ".")
	last, err := s.cfg.Store.Case(ctx, caseID)
	if err == nil {
		err = c.Grant.Sees(last)
	}
	if errors.Is(err, store.ErrNotFound) || err == nil && !slices.Contains(fhir.Parts(), part) {
		return true, refuse(store.ErrInvalid, "parameter _cursor does not fit: wanted is that of the link next of a page of this search")
	}
	if err != nil {
		return true, err
	}
	f.After = last.ID
	return s.take(ctx, last, part, p)
}

func lastPart() string { return fhir.Parts()[len(fhir.Parts())-1] }

// take adds the Observations of a procedure behind a part. It tells whether the page is full, with the next page's cursor when
// there is more.
func (s *Server) take(ctx context.Context, one store.Case, behind string, p *page) (full bool, err error) {
	wanted := p.want.parts
	if at := slices.Index(fhir.Parts(), behind); at >= 0 {
		wanted = slices.DeleteFunc(slices.Clone(wanted), func(part string) bool { return slices.Index(fhir.Parts(), part) <= at })
	}
	if one.Quality || len(wanted) == 0 {
		return false, nil
	}
	of, err := s.Gather(ctx, one)
	if err != nil {
		return false, err
	}
	if slices.Contains(wanted, fhir.PartSummary) && len(of.Unmet()) > 0 {
		p.lacking++
	}
	for _, o := range fhir.Observations(of) {
		_, part, _ := strings.Cut(o.ID, ".")
		if !slices.Contains(wanted, part) {
			continue
		}
		if len(p.found) == p.want.count {
			p.next = p.found[len(p.found)-1].ID
			return true, nil
		}
		p.found = append(p.found, hit{o, one.PatientID})
	}
	return false, nil
}
