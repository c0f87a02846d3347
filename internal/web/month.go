package web

import (
	"bytes"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/export/monthfile"
	"afterbeam/internal/export/monthpack"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/summary"
)

func (s *Site) monthPages() []page {
	needs := []access.Operation{"getSummary"}
	return []page{
		{method: http.MethodGet, path: "/month", title: "month.title", needs: needs, listed: true, group: "nav.quality", serve: lastMonth},
		{method: http.MethodGet, path: "/month/:period", title: "month.title", template: "month.html", needs: needs, serve: func(v *view) (any, error) { return v.month("", typed{}) }},
		{method: http.MethodGet, path: "/month/:period/charts/:chart", title: "month.title", needs: needs, serve: monthChart},
		{method: http.MethodGet, path: "/month/:period/files/:format", title: "month.title", needs: needs, serve: monthFile},
		{method: http.MethodPost, path: "/month/:period/reviews/:id", title: "month.title", template: "month.html", needs: append(needs, "reviewCase", "getProcedure"), serve: reviewInMonth},
		{method: http.MethodPost, path: "/month/:period/actions", title: "month.title", template: "month.html", needs: append(needs, "agreeAction"), serve: agreeInMonth},
		{method: http.MethodPost, path: "/month/:period/actions/:id", title: "month.title", template: "month.html", needs: append(needs, "changeAction"), serve: changeInMonth},
	}
}

// monthSection is a part of the summary as the page shows it.
type monthSection struct {
	ID, Title string
	Blocks    []monthBlock
	Charts    []monthPicture
}

// monthBlock is one block of a section; one of its fields is set.
type monthBlock struct {
	Heading, Text string
	Caution       bool
	Items         []string
	Table         *paper.Table
}

// monthPicture is a control chart with what it shows in words.
type monthPicture struct{ Path, Title, Words string }

// monthReview is a case for review with the state that a person may give.
type monthReview struct {
	ID, Day, Title, Room, State, Why string
}

// monthData is the page of one period.
type monthData struct {
	Period, Name             string
	Before, After            string
	Quarter, Year            string
	Sections                 []monthSection
	Reviews                  []monthReview
	States                   []summary.ReviewState
	Actions                  []summary.ActionLine
	MayReview, MayAct        bool
	Wrong                    string
	Typed                    typed
	Operator                 bool
	DueOn                    string
	ReviewWords, StatusWords map[string]string
}

// lastMonth leads to the month that ended last.
func lastMonth(v *view) (any, error) {
	now := v.site.cfg.Now().In(v.site.cfg.Zone)
	first := time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, time.UTC).AddDate(0, -1, 0)
	if asked := v.query("period"); asked != "" {
		return redirect("/month/" + url.PathEscape(strings.TrimSpace(asked))), nil
	}
	return redirect("/month/" + first.Format("2006-01")), nil
}

// summary asks for the summary of the period of the path.
func (v *view) summary() (summary.Summary, error) {
	return ask[summary.Summary](v, http.MethodGet, "/v1/summaries/"+url.PathEscape(v.param("period")), nil)
}

// month gives the page, with what was wrong in a form of it.
func (v *view) month(wrong string, sent typed) (any, error) {
	s, err := v.summary()
	if err != nil {
		return nil, err
	}
	language := v.lang.Tag()
	sections, err := monthpack.Sections(language, monthpack.Input{Summary: s}, false)
	if err != nil {
		return nil, err
	}
	w := monthpack.Words(language)
	d := monthData{
		Period: s.Period.Name, Name: monthpack.PeriodName(w, s.Period), Before: s.Before.Name, After: s.Period.After().Name, States: summary.ReviewStates(), Wrong: wrong, Typed: sent,
		MayReview: v.grant.May("reviewCase") == nil && !s.Leaving, MayAct: v.grant.May("agreeAction") == nil, Actions: s.Actions, Operator: s.Leaving,
		ReviewWords: map[string]string{}, StatusWords: map[string]string{},
	}
	if from, err := time.Parse(time.DateOnly, s.Period.From); err == nil {
		d.Year = from.Format("2006")
		d.Quarter = d.Year + "-Q" + strconv.Itoa((int(from.Month())+2)/3)
		d.DueOn = v.site.cfg.Now().In(v.site.cfg.Zone).AddDate(0, 1, 0).Format(time.DateOnly)
	}
	for _, state := range d.States {
		d.ReviewWords[string(state)] = w.Text("review_state." + strings.ReplaceAll(string(state), "-", "_"))
	}
	for _, standing := range []string{"new", "carried", "overdue", "closed"} {
		d.StatusWords[standing] = w.Text("standing." + standing)
	}
	for _, section := range sections {
		d.Sections = append(d.Sections, monthSectionOf(section, s, language))
	}
	for _, r := range s.Review.Rows {
		why := make([]string, 0, len(r.Why))
		for _, one := range r.Why {
			why = append(why, w.Text("why."+strings.ReplaceAll(one, "-", "_")))
		}
		d.Reviews = append(d.Reviews, monthReview{ID: r.Case.ID, Day: r.Case.Day, Title: r.Case.Title, Room: r.Case.Room, State: string(r.State), Why: strings.Join(why, "; ")})
	}
	return d, nil
}

// monthSectionOf makes the blocks of a section what the template knows.
func monthSectionOf(section monthpack.Section, s summary.Summary, language string) monthSection {
	out := monthSection{ID: section.ID, Title: section.Title}
	for _, b := range section.Blocks {
		switch b := b.(type) {
		case paper.Heading:
			out.Blocks = append(out.Blocks, monthBlock{Heading: b.Text})
		case paper.Paragraph:
			out.Blocks = append(out.Blocks, monthBlock{Text: strings.TrimSpace(b.Lead + " " + b.Text), Caution: b.Style == paper.Caution})
		case paper.List:
			out.Blocks = append(out.Blocks, monthBlock{Items: b.Items})
		case paper.Table:
			out.Blocks = append(out.Blocks, monthBlock{Table: &b})
		case paper.Box, paper.Picture, paper.Drawing, paper.Signature:
		}
	}
	if section.ID == "charts" {
		for i, c := range monthpack.Drawn(s.Charts) {
			out.Charts = append(out.Charts, monthPicture{
				Path: "/month/" + url.PathEscape(s.Period.Name) + "/charts/" + strconv.Itoa(i) + ".png", Title: monthpack.ChartTitle(language, c), Words: monthpack.ChartWords(language, c),
			})
		}
	}
	return out
}

// monthChart draws one control chart of the page.
func monthChart(v *view) (any, error) {
	s, err := v.summary()
	if err != nil {
		return nil, err
	}
	n, err := strconv.Atoi(strings.TrimSuffix(v.param("chart"), ".png"))
	drawn := monthpack.Drawn(s.Charts)
	if err != nil || n < 0 || n >= len(drawn) {
		return nil, &failure{status: http.StatusNotFound}
	}
	var out bytes.Buffer
	if err := monthpack.Chart(&out, v.lang.Tag(), drawn[n], s.Period.From, s.Period.To); err != nil {
		return nil, err
	}
	return raw{"image/png", out.Bytes()}, nil
}

// monthFile hands a file on as the interface gives it.
func monthFile(v *view) (any, error) {
	form := v.param("format")
	if !slices.Contains(monthfile.Forms(), monthfile.Form(form)) {
		return nil, &failure{status: http.StatusNotFound}
	}
	query := url.Values{"format": {form}, "language": {v.lang.Tag()}, "size": {"a4"}}
	if v.query("size") == "letter" {
		query.Set("size", "letter")
	}
	a, err := v.call(http.MethodGet, "/v1/summaries/"+url.PathEscape(v.param("period"))+"?"+query.Encode(), nil)
	if err != nil {
		return nil, err
	}
	h := v.c.Response().Header()
	h.Set("Content-Disposition", a.Header.Get("Content-Disposition"))
	return raw{a.Header.Get("Content-Type"), a.Body}, nil
}

// reviewInMonth keeps what a colleague found of a case of the list.
func reviewInMonth(v *view) (any, error) {
	id := v.param("id")
	p, err := ask[httpapi.ProcedureDetail](v, http.MethodGet, "/v1/procedures/"+url.PathEscape(id), nil)
	if err != nil {
		return nil, err
	}
	_, err = v.call(http.MethodPost, "/v1/procedures/"+url.PathEscape(id)+"/case-reviews", httpapi.CaseReviewRequest{
		Version: p.Procedure.Version, State: httpapi.CaseReviewState(v.form("state")), Reason: v.text("reason"),
	})
	return v.afterForm(err, "month-reviewed", "#review")
}

// agreeInMonth keeps an action.
func agreeInMonth(v *view) (any, error) {
	_, err := v.call(http.MethodPost, "/v1/actions", httpapi.ActionRequest{
		Period: v.param("period"), Text: v.text("text"), Owner: v.text("owner"), DueOn: v.form("due_on"),
	})
	return v.afterForm(err, "month-agreed", "#actions")
}

// changeInMonth notes something of an action, moves or closes it.
func changeInMonth(v *view) (any, error) {
	change := httpapi.ActionChange{Event: httpapi.ActionChangeEvent(v.form("event")), Text: v.text("text")}
	if day := v.form("due_on"); day != "" && v.form("event") == "moved" {
		change.DueOn = &day
	}
	_, err := v.call(http.MethodPost, "/v1/actions/"+url.PathEscape(v.param("id"))+"/changes", change)
	return v.afterForm(err, "month-action-changed", "#actions")
}

// afterForm goes back to the page, or shows it with what the interface did not take.
func (v *view) afterForm(err error, done, place string) (any, error) {
	return v.answered(err, "/month/"+url.PathEscape(v.param("period"))+"?done="+done+place, func(wrong string) (any, error) { return v.month(wrong, v.typed()) })
}
