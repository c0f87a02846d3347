package httpapi

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/ingest/roll"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// importPerformed is the operation whose body is a table.
const importPerformed access.Operation = "importPerformed"

// longestPeriod bounds a comparison, which is made as a whole.
const longestPeriod = 366 * 24 * time.Hour

// ImportPerformed stores the good lines of a table as it comes in and tells the bad ones.
func (h *handlers) ImportPerformed(ctx context.Context, request ImportPerformedRequestObject) (ImportPerformedResponseObject, error) {
	cl := callOf(ctx)
	encoding, err := performed.EncodingOf(cl.charset)
	if err != nil {
		return nil, tell(errMediaType, err.Error())
	}
	r, err := roll.Import(ctx, h.store, cl.actor(), request.Body, performed.Options{Encoding: encoding, Site: h.cfg.Site, KnownClass: h.cfg.KnownClass})
	if errors.Is(err, performed.ErrTable) {
		// The text says what is expected of a table and repeats nothing of it.
		return nil, tell(store.ErrInvalid, err.Error())
	}
	if err != nil {
		return nil, err
	}
	return ImportPerformed200JSONResponse{
		ImportId: r.ID, DigestSha256: r.Digest, Added: r.Added, Changed: r.Changed, Same: r.Same, Refused: r.Refused,
		Problems: every(r.Problems, plainText), MoreProblems: r.MoreProblems, IgnoredColumns: every(r.Ignored, func(n int) int { return n }),
	}, nil
}

func plainText(s string) string { return s }

// ListPerformed lists performed procedures without their patients.
func (h *handlers) ListPerformed(ctx context.Context, request ListPerformedRequestObject) (ListPerformedResponseObject, error) {
	p := request.Params
	if err := days(p.From, p.To); err != nil {
		return nil, err
	}
	limit := pageSize(p.Limit)
	steps, err := h.store.PerformedSteps(ctx, store.PerformedFilter{
		Rooms: callOf(ctx).grant.Account.Rooms, Room: or(p.Room), Source: performed.Source(or(p.Source)),
		From: or(p.From), To: or(p.To), After: or(p.After), Limit: limit + 1,
	})
	if err != nil {
		return nil, err
	}
	steps, next := page(steps, limit, func(s store.Performed) string { return s.ID })
	if err := h.viewed(ctx, "performed.list", fmt.Sprintf("%d performed procedures", len(steps)), ""); err != nil {
		return nil, err
	}
	return ListPerformed200JSONResponse{Performed: every(steps, encodePerformed), Next: next}, nil
}

// GetPerformed gives a performed procedure with its patient and its history.
func (h *handlers) GetPerformed(ctx context.Context, request GetPerformedRequestObject) (GetPerformedResponseObject, error) {
	one, err := h.store.Performed(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	if err := callOf(ctx).grant.SeesRoom(one.Step.Room); err != nil {
		return nil, err
	}
	versions, err := h.store.PerformedVersions(ctx, one.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "performed.view", one.ID, ""); err != nil {
		return nil, err
	}
	return GetPerformed200JSONResponse{
		Performed: encodePerformed(one), PatientNumber: one.Step.Patient.Number, PatientIssuer: one.Step.Patient.Issuer,
		BirthDate: one.Step.Patient.BirthDate, Sex: one.Step.Patient.Sex, HeightCm: number(one.Step.Height, quantity.Millimetre.Cm),
		WeightKg: number(one.Step.Weight, plain), Versions: every(versions, encodePerformed),
	}, nil
}

func encodePerformed(p store.Performed) Performed {
	s := p.Step
	operators := []string{}
	for _, one := range s.Operators {
		operators = append(operators, one.Name)
	}
	return Performed{
		Id: p.ID, Version: p.Version, Source: PerformedSource(s.Source), StudyUid: s.StudyUID, AccessionNumber: s.Accession,
		State: PerformedState(strings.ToLower(string(s.State))), Excluded: string(s.Excluded), Reason: s.Reason,
		Start: moment(s.Start.Time), End: moment(s.End.Time), LocalDate: text(s.Start.LocalDate()), Room: s.Room, Station: s.Station,
		Description: s.Description, Class: s.Class, Modality: s.Modality, Operators: operators,
		KapGyCm2: number(s.Totals.KAP, quantity.GraySquareMetre.Gycm2), FluoroscopyMin: number(s.Totals.FluoroTime, quantity.Second.Minutes),
		EntranceDoseMgy: number(s.Totals.Entrance, func(d quantity.Gray) float64 { return float64(d / quantity.MilliGray) }),
		DoseSuspect:     s.Totals.Suspicion != 0, MadeAt: p.MadeAt,
	}
}

// GetCompleteness compares a period's performed procedures with the reports that came.
func (h *handlers) GetCompleteness(ctx context.Context, request GetCompletenessRequestObject) (GetCompletenessResponseObject, error) {
	p := request.Params
	if err := days(&p.From, &p.To); err != nil {
		return nil, err
	}
	first, _ := time.Parse(time.DateOnly, p.From) // days read both
	last, _ := time.Parse(time.DateOnly, p.To)
	if last.Sub(first) > longestPeriod {
		return nil, tell(store.ErrInvalid, "the period is longer than 366 days")
	}
	list, roomOf, err := h.store.Completeness(ctx, p.From, p.To, completeness.Rules{Window: h.cfg.MatchWindow, Grace: h.cfg.Grace, Now: h.cfg.Now()})
	if err != nil {
		return nil, err
	}
	list = list.Within(completeness.Scope{From: p.From, To: p.To, Room: or(p.Room), Rooms: callOf(ctx).grant.Account.Rooms}, roomOf)
	rows, err := rowsAfter(list, string(or(p.Outcome)), or(p.After))
	if err != nil {
		return nil, err
	}
	limit := pageSize(p.Limit)
	rows, next := page(rows[:min(len(rows), limit+1)], limit, cursorOf)
	if err := h.viewed(ctx, "completeness.view", fmt.Sprintf("%s to %s, %d rows", p.From, p.To, len(rows)), ""); err != nil {
		return nil, err
	}
	n := list.Counts()
	return GetCompleteness200JSONResponse{
		From: p.From, To: p.To, Performed: n.Performed, Missing: n.Missing, Elsewhere: n.Elsewhere, Pending: n.Pending, Reported: n.Reported,
		Excluded: n.Excluded, Unannounced: n.Unannounced, Rows: rows, Next: next,
	}, nil
}

// cursorOf names a row: by its first step, or by its report where there is no step.
func cursorOf(r CompletenessRow) string {
	if len(r.PerformedIds) > 0 {
		return r.PerformedIds[0]
	}
	return r.ProcedureIds[0]
}

// rowsAfter gives the rows of one outcome, or of all, behind a cursor: performed procedures first, then reports of which
// none is known.
func rowsAfter(list completeness.List, outcome, after string) ([]CompletenessRow, error) {
	var rows []CompletenessRow
	for _, r := range list.Rows {
		rows = append(rows, encodeRow(r))
	}
	for _, c := range list.Unannounced {
		rows = append(rows, CompletenessRow{
			Outcome: CompletenessRowOutcomeUnannounced, PerformedIds: []string{}, ProcedureIds: []string{c.ID}, StudyUid: c.StudyUID,
			AccessionNumber: c.Accession, Start: moment(c.Start), LocalDate: text(c.Day), Room: c.Room, Why: []Unfit{},
		})
	}
	found := after == ""
	var rest []CompletenessRow
	for _, r := range rows {
		if found && (outcome == "" || string(r.Outcome) == outcome) {
			rest = append(rest, r)
		}
		found = found || cursorOf(r) == after
	}
	if !found {
		return nil, tell(store.ErrInvalid, "the cursor is of no row of this period")
	}
	return rest, nil
}

func encodeRow(r completeness.Row) CompletenessRow {
	first := r.Steps[0]
	row := CompletenessRow{
		Outcome: outcomeOf(r.Outcome), ProcedureIds: every(r.Cases, plainText), FoundBy: r.By, StudyUid: first.StudyUID,
		AccessionNumber: first.Accession, Start: moment(first.Start.Time), LocalDate: text(first.Start.LocalDate()), Room: first.Room,
		Description: first.Description, PerformedIds: []string{}, Why: []Unfit{},
	}
	for _, s := range r.Steps {
		row.PerformedIds = append(row.PerformedIds, s.ID)
		// What the first source does not know another may.
		for _, field := range []struct {
			to   *string
			from string
		}{{&row.StudyUid, s.StudyUID}, {&row.AccessionNumber, s.Accession}, {&row.Description, s.Description}} {
			if *field.to == "" {
				*field.to = field.from
			}
		}
	}
	for _, c := range r.Why {
		row.Why = append(row.Why, Unfit{ProcedureId: text(c.Case), Reason: c.Reason})
	}
	return row
}

func outcomeOf(o completeness.Outcome) CompletenessRowOutcome {
	switch o {
	case completeness.Elsewhere:
		return CompletenessRowOutcomeElsewhere
	case completeness.Pending:
		return CompletenessRowOutcomePending
	case completeness.Reported:
		return CompletenessRowOutcomeReported
	case completeness.Excluded:
		return CompletenessRowOutcomeExcluded
	case completeness.Missing:
	}
	return CompletenessRowOutcomeMissing
}
