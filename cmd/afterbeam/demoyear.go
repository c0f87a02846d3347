package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"slices"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// yearWithin bounds how long the service may take over a day of the year.
const yearWithin = 5 * time.Minute

// yearDoor is where the reports of the year come in.
const yearDoor = "back-fill"

// demoYear is the year of the centre as it is told to the service, day by day.
type demoYear struct {
	*demoService
	byStudy map[string]demo.YearCase
	of      map[string]demo.YearCase // by id of the case, as asks name it
	sent    int
	answers int
	late    int
	reacted int
	looked  int
	// meetings are those to come, pending the actions that end later.
	meetings []demo.Meeting
	pending  []pendingAction
}

// year sends the cases through the service day by day, each on its own day: reports are kept, read and assessed as any others, and
// the people of the centre answer what they are asked. It prints what came of it.
func (d *demoService) year(ctx context.Context, p *printer, messages io.Writer, table string, cases []demo.YearCase) error {
	performed := []byte(demo.YearPerformed(cases))
	if err := os.WriteFile(table, performed, 0o600); err != nil {
		return fmt.Errorf("write performed procedures of the year: %w", err)
	}
	y := demoYear{
		demoService: d, byStudy: map[string]demo.YearCase{}, of: map[string]demo.YearCase{}, meetings: demo.Meetings(),
	}
	for _, c := range cases {
		y.byStudy[c.Report.StudyUID] = c
	}
	if w := d.works.pipeline; w.Organs != nil {
		w.Organs.PassOver(func(study string) string {
			if y.byStudy[study].Sent {
				return "not computed for the year of the demonstration"
			}
			return ""
		})
	}
	defer d.clock.reset(demo.CommitteeDay)
	progress := monthly(messages)
	for _, midnight := range demo.YearDays() {
		day := midnight.Format(time.DateOnly)
		n := slices.IndexFunc(cases, func(c demo.YearCase) bool { return c.Start.Format(time.DateOnly) != day })
		if n < 0 {
			n = len(cases)
		}
		progress(day, y.sent)
		if err := y.day(ctx, midnight, cases[:n]); err != nil {
			return fmt.Errorf("the centre's %s: %w", day, err)
		}
		cases = cases[n:]
	}
	d.clock.reset(demo.CommitteeDay)
	var taken httpapi.ImportResult
	if err := d.call(ctx, access.Service, http.MethodPost, "/v1/performed", "text/csv", performed, &taken); err != nil {
		return err
	}
	return y.tell(ctx, p)
}

// monthly gives a function that tells when a month begins.
func monthly(to io.Writer) func(day string, sent int) {
	month := ""
	return func(day string, sent int) {
		if month != day[:7] {
			month = day[:7]
			_, _ = fmt.Fprintf(to, "the centre's year, synthetic: %s, %d reports before\n", month, sent)
		}
	}
}

// day hands in the reports of a day in its evening, waits until they are assessed, and gives the answers that have come by then. The
// clock stands while jobs are under way: a lease would run out with it.
func (y *demoYear) day(ctx context.Context, midnight time.Time, cases []demo.YearCase) error {
	day := midnight.Format(time.DateOnly)
	y.clock.set(midnight.Add(19 * time.Hour))
	for _, c := range cases {
		if !c.Sent {
			continue
		}
		var report bytes.Buffer
		if err := rdsr.Write(&report, &c.Report, rdsr.WriteOptions{}); err != nil {
			return err
		}
		by := store.Actor{Account: yearDoor, Role: string(access.Service), Source: "demonstration"}
		if _, _, err := y.works.keeper.KeepForLater(ctx, by, yearDoor, &report); err != nil {
			return err
		}
		y.sent++
	}
	if err := y.assessed(ctx); err != nil {
		return err
	}
	y.clock.set(midnight.Add(20 * time.Hour))
	if err := y.answer(ctx, day); err != nil {
		return err
	}
	return y.meet(ctx, day)
}

// assessed waits until nothing is left to do.
func (y *demoYear) assessed(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, yearWithin)
	defer cancel()
	for {
		b, err := y.works.db.Backlog(ctx)
		if err != nil || b.Waiting == 0 {
			return err
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the service did not get through its reports: %w", ctx.Err())
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// answer gives the replies of the centre's people that have come by a day.
func (y *demoYear) answer(ctx context.Context, today string) error {
	open, err := y.works.db.Asks(ctx, store.AskFilter{States: []ask.State{ask.Open}})
	if err != nil {
		return err
	}
	for _, a := range open {
		c, ok, err := y.caseOf(ctx, a.CaseID)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		said, on, ok := c.Reply(a.Ask)
		if !ok || on > today {
			continue
		}
		if _, err := y.works.db.AnswerAsk(ctx, y.as(a.Owner), a.ID, said); err != nil {
			return fmt.Errorf("answer %s: %w", a.Slot, err)
		}
		y.answers++
		if on > a.Due {
			y.late++
		}
		if grade, _ := said.Grade.Get(); grade > 0 {
			y.reacted++
		}
		if err := y.settle(ctx, c, a.CaseID); err != nil {
			return err
		}
	}
	return nil
}

func (y *demoYear) as(owner ask.Role) store.Actor {
	role := access.Role(owner)
	return store.Actor{Account: y.accounts[role], Role: string(role), Source: "demonstration"}
}

// caseOf gives the case of the year that an ask is about; ok is false for one that is not of the year.
func (y *demoYear) caseOf(ctx context.Context, id string) (demo.YearCase, bool, error) {
	if c, ok := y.of[id]; ok {
		return c, true, nil
	}
	kept, err := y.works.db.Case(ctx, id)
	if err != nil {
		return demo.YearCase{}, false, err
	}
	c, ok := y.byStudy[kept.StudyUID]
	if ok {
		y.of[id] = c
	}
	return c, ok, nil
}

// settle settles the flags of a case once everything that was asked of it is answered, where its physicist does that.
func (y *demoYear) settle(ctx context.Context, c demo.YearCase, id string) error {
	left, err := y.works.db.Asks(ctx, store.AskFilter{CaseID: id, States: []ask.State{ask.Open}, Limit: 1})
	if err != nil || len(left) > 0 || !c.Settles() {
		return err
	}
	flags, err := y.works.db.RaisedFlags(ctx, id)
	if err != nil {
		return err
	}
	for _, f := range flags {
		if f.State != store.FlagOpen {
			continue
		}
		_, err := y.works.db.SettleFlag(ctx, y.as(ask.Physicist), f.ID, ask.Settlement{Ground: ask.OnFollowUp, Reason: "everything asked was answered (invented)"})
		if err != nil && !errors.Is(err, ask.ErrRefused) {
			return fmt.Errorf("settle flag: %w", err)
		}
	}
	return nil
}

// tell prints what came of the year.
func (y *demoYear) tell(ctx context.Context, p *printer) error {
	var list httpapi.Completeness
	path := "/v1/completeness?from=" + demo.YearFrom + "&to=" + demo.YearTo
	if err := y.call(ctx, access.Physicist, http.MethodGet, path, "", nil, &list); err != nil {
		return err
	}
	open, err := y.works.db.Asks(ctx, store.AskFilter{States: []ask.State{ask.Open}})
	if err != nil {
		return err
	}
	p.say("\na year of the centre, %s to %s, all of it synthetic: %d reports kept and assessed, each on its day", demo.YearFrom, demo.YearTo, y.sent)
	p.say("  with the cases above: %d performed, %d reported, %d without a report, %d excluded", list.Performed, list.Reported, list.Missing+list.Pending, list.Excluded)
	p.say("  %d asks answered, %d of them late, a reaction of the skin in %d answers; %d open; %d cases looked at by colleagues", y.answers, y.late, y.reacted, len(open), y.looked)
	return p.err
}
