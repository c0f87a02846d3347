package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/paperhtml"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

// papers makes papers of what is stored.
type papers struct {
	site settings.Site
	zone *time.Location
	sums sums
	db   *store.DB
}

func newPapers(site settings.Site, zone *time.Location, s sums, db *store.DB) (*papers, error) {
	if !paper.Languages().Has(site.Language) {
		return nil, fmt.Errorf("%w: site.language wants one of %s, got %q", errUsage, strings.Join(paper.Languages().Tags(), ", "), site.Language)
	}
	if zone == nil {
		zone = time.UTC
	}
	return &papers{site: site, zone: zone, sums: s, db: db}, nil
}

// Make makes a paper of the newest estimate of a case and keeps it.
func (p *papers) Make(ctx context.Context, actor store.Actor, caseID string, asked httpapi.PaperAsk) (store.Paper, error) {
	v, err := p.db.Version(ctx, caseID, 0)
	if err != nil {
		return store.Paper{}, err
	}
	in, err := p.input(ctx, v, paper.Kind(asked.Kind))
	if err != nil {
		return store.Paper{}, fmt.Errorf("paper of case %s: %w", caseID, err)
	}
	in.Recipient = asked.Recipient
	record := store.Paper{CaseID: caseID, Version: v.Number, Kind: asked.Kind, Language: cmp.Or(asked.Language, p.site.Language), Size: cmp.Or(asked.Size, p.site.PaperSize)}
	return p.db.MakePaper(ctx, actor, record, func(made store.Paper) (pdf, html []byte, err error) {
		in.Stamp = paper.Stamp{ID: made.ID, Made: made.MadeAt.In(p.zone), Program: programVersion(), By: asked.By}
		document, err := paper.Compose(paper.Kind(made.Kind), made.Language, in)
		if err != nil {
			return nil, nil, err
		}
		if err := namesDrawn(in); err != nil {
			return nil, nil, err
		}
		var sheet, page bytes.Buffer
		if err := paperpdf.Write(&sheet, document, paperpdf.Size(made.Size)); err != nil {
			return nil, nil, err
		}
		if err := paperhtml.Write(&page, document); err != nil {
			return nil, nil, err
		}
		return sheet.Bytes(), page.Bytes(), nil
	})
}

// namesDrawn says which text of people the fonts cannot draw; the rest of a paper is ours and the site's.
func namesDrawn(in paper.Input) error {
	named := []struct{ what, text string }{{"the patient's name", paper.Called(in.Person.Name)}, {"the patient's number", in.Person.Number}}
	for i, line := range in.Recipient {
		named = append(named, struct{ what, text string }{fmt.Sprintf("line %d of the recipient", i+1), line})
	}
	for _, one := range named {
		if err := paperpdf.Drawable(one.text); err != nil {
			return fmt.Errorf("%s: %w", one.what, err)
		}
	}
	return nil
}

// input gathers what a paper of a version is made of.
func (p *papers) input(ctx context.Context, v store.Version, kind paper.Kind) (in paper.Input, err error) {
	kept, err := archive.ReadProcedure(v.Body)
	if err != nil {
		return in, err
	}
	k := casejson.Kept{Procedure: kept.Procedure, Facts: kept.Facts}
	if len(v.Map) > 0 {
		picture, err := archive.ReadMap(v.Map)
		if err != nil {
			return in, err
		}
		k.Map = picture.Map
		if kind == paper.PhysicistReport {
			if _, in.Map, err = (pictures{}).Draw(ctx, v, "png"); err != nil {
				return in, err
			}
		}
	}
	var c casejson.Case
	if err := json.Unmarshal(v.Summary, &c); err != nil {
		return in, fmt.Errorf("read kept result: %w", err)
	}
	if in.Assessment, err = c.Assessment(k, p.sums.method.Levels); err != nil {
		return in, err
	}
	patient, err := p.db.Patient(ctx, v.Case.PatientID)
	if err != nil {
		return in, err
	}
	in.Person = paper.Person{Name: patient.Identity.Name, Number: patient.Identity.Number, BirthDate: patient.Identity.BirthDate}
	in.Estimate = paper.Estimate{Case: v.Case.ID, Number: v.Number, MadeAt: v.MadeAt.In(p.zone), Program: v.Program, Methods: v.Methods, Digest: v.Digest}
	s := p.site
	in.Site = paper.Site{Centre: s.Centre, Department: s.Department, Phone: s.Phone, Hours: s.Hours, Mail: s.Mail, Address: s.Address}
	if err := p.followUp(ctx, v.Case.ID, &in); err != nil {
		return in, err
	}
	if kind == paper.PhysicistReport {
		if in.Organs, err = p.organs(ctx, v); err != nil {
			return in, err
		}
	}
	return in, p.earlier(ctx, v.Case, &in)
}

// organs are those of this version alone: another one may have had other beams.
func (p *papers) organs(ctx context.Context, v store.Version) (o paper.Organs, err error) {
	kept, err := p.db.Organs(ctx, v.Case.ID, v.Number)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return o, nil
	case err != nil:
		return o, err
	case kept.Reason != "":
		return paper.Organs{Reason: kept.Reason}, nil
	}
	o.Doses = new(organ.Doses)
	if err := json.Unmarshal(kept.Body, o.Doses); err != nil {
		return o, fmt.Errorf("organ doses of %s/%d: %w", v.Case.ID, v.Number, err)
	}
	return o, nil
}

// followUp adds what is asked about the case, and what physicists estimated beside it.
func (p *papers) followUp(ctx context.Context, caseID string, in *paper.Input) error {
	asks, err := p.db.Asks(ctx, store.AskFilter{CaseID: caseID, States: []ask.State{ask.Open, ask.Answered}})
	if err != nil {
		return err
	}
	for _, a := range asks {
		in.Asks = append(in.Asks, a.Ask)
	}
	own, err := p.db.OwnEstimates(ctx, caseID)
	for _, o := range own {
		in.Own = append(in.Own, o.Own)
	}
	return err
}

// earlier adds the patient's other procedures up to the day of the case.
func (p *papers) earlier(ctx context.Context, c store.Case, in *paper.Input) error {
	all, err := p.db.CasesOfPatient(ctx, c.PatientID)
	if err != nil {
		return err
	}
	var upTo []store.Case
	for _, other := range all {
		if other.Quality || other.LocalDate > c.LocalDate || other.LocalDate == c.LocalDate && other.Start.After(c.Start) {
			continue
		}
		upTo = append(upTo, other)
		if other.ID != c.ID {
			in.Before = append(in.Before, other.LocalDate)
		}
	}
	in.Sums, err = p.sums.windows(ctx, upTo, c.LocalDate)
	return err
}
