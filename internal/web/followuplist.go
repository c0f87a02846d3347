package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	asks "afterbeam/internal/followup/ask"
	"afterbeam/internal/httpapi"
)

func (s *Site) followUpPages() []page {
	needs := []access.Operation{"listAsks", "countAsks", "listColleagues"}
	return slices.Concat(
		[]page{{method: http.MethodGet, path: "/follow-up", title: "followup.title", template: "followup.html", needs: needs, listed: true, serve: showFollowUp}},
		askPages(), flagPages(), caseFollowUpPages(), casePaperPages(), caseNoticePages(), preferencePages(), levelPages(),
	)
}

// followUpPage is how many asks a page of the list shows.
const followUpPage = 50

// followUpData is what the list of asks shows.
type followUpData struct {
	Asks  []askRow
	Today string
	// Open, Overdue and Week count what the person may see: open, past its day, past it by more than a week.
	Open, Overdue, Week int
	Kinds               []choice
	Whose, States       []choice
	Chosen              map[string]string
	Next, First         string
	Wrong               string
}

// choice is a value to choose with the address of the list that has it.
type choice struct {
	Value, URL string
	Here       bool
}

// askRow is an ask as lists show it.
type askRow struct {
	httpapi.Ask
	What, Who, ClassTitle string
	// From is the first day of its window, "" when it may be done at once.
	From string
	// Age is escalated, overdue, today, due, later or the state of an ask that is over.
	Age string
}

// days gives how many days there are to the due day, or since it.
func (r askRow) Days() int { return max(r.DaysOver, -r.DaysOver) }

// ages of open asks, the most urgent first.
const (
	ageEscalated = "escalated" // overdue, and others were told
	ageOverdue   = "overdue"
	ageToday     = "today"
	ageDue       = "due"
	ageLater     = "later" // its window has not begun
)

func ageOf(a httpapi.Ask, today string) string {
	switch {
	case a.State != httpapi.AskStateOpen:
		return string(a.State)
	case a.Overdue && a.Rung > 1:
		return ageEscalated
	case a.Overdue:
		return ageOverdue
	case a.NotBefore != nil && *a.NotBefore > today:
		return ageLater
	case a.DaysOver == 0:
		return ageToday
	}
	return ageDue
}

func (v *view) askRow(a httpapi.Ask, today string, c colleagues) askRow {
	r := askRow{Ask: a, What: v.asked(a.Text, a.Words), ClassTitle: classTitle(a.Class), Age: ageOf(a, today)}
	if a.NotBefore != nil {
		r.From = *a.NotBefore
	}
	if a.PersonId != nil {
		r.Who = c.name(*a.PersonId)
	}
	return r
}

// asked says what is asked, in the person's language where the schedule is the program's own.
func (v *view) asked(key, words string) string {
	if own := "asked." + strings.TrimPrefix(key, "ask."); v.lang.Has(own) {
		return v.lang.Text(own)
	}
	return words
}

// showFollowUp lists asks as the address says: an operator's own ones first of all.
func showFollowUp(v *view) (any, error) {
	d := followUpData{Chosen: map[string]string{}}
	states := []string{"open", "overdue", "answered", "superseded", "settled", "all"}
	whose, state, kind := v.query("whose"), v.query("state"), v.query("kind")
	if whose != "mine" && whose != "all" {
		whose = "all"
		if v.grant.Role == access.Operator {
			whose = "mine"
		}
	}
	if !slices.Contains(states, state) {
		state = states[0]
	}
	if !slices.Contains(asks.Kinds(), asks.Kind(kind)) {
		kind = ""
	}
	d.Chosen = map[string]string{"whose": whose, "state": state, "kind": kind}
	at := func(name, value string) string {
		q := url.Values{}
		for key, one := range d.Chosen {
			if key == name {
				one = value
			}
			if one != "" {
				q.Set(key, one)
			}
		}
		return "/follow-up?" + q.Encode()
	}
	pick := func(name string, values ...string) []choice {
		var all []choice
		for _, value := range values {
			all = append(all, choice{Value: value, URL: at(name, value), Here: d.Chosen[name] == value})
		}
		return all
	}
	d.Whose, d.States = pick("whose", "mine", "all"), pick("state", states...)
	kinds := []string{""}
	for _, k := range asks.Kinds() {
		kinds = append(kinds, string(k))
	}
	d.Kinds = pick("kind", kinds...)
	if err := v.countedAsks(&d); err != nil {
		return nil, err
	}
	err := v.listedAsks(&d, at("", ""))
	return d, err
}

// listedAsks fills one page of the list; first is the address of its start.
func (v *view) listedAsks(d *followUpData, first string) error {
	q := url.Values{"state": {d.Chosen["state"]}, "limit": {strconv.Itoa(followUpPage)}}
	if d.Chosen["whose"] == "mine" {
		q.Set("mine", "true")
	}
	if kind := d.Chosen["kind"]; kind != "" {
		q.Set("kind", kind)
	}
	if after := v.query("after"); after != "" {
		q.Set("after", after)
		d.First = first
	}
	list, err := ask[httpapi.AskPage](v, http.MethodGet, "/v1/asks?"+q.Encode(), nil)
	if err != nil {
		return err
	}
	if list.Next != nil {
		d.Next = first + "&after=" + escape(*list.Next)
	}
	d.Today = list.Today
	c, err := v.colleagues()
	for _, a := range list.Asks {
		d.Asks = append(d.Asks, v.askRow(a, list.Today, c))
	}
	return err
}

// countedAsks counts what the person may see.
func (v *view) countedAsks(d *followUpData) error {
	n, err := ask[httpapi.AskCounts](v, http.MethodGet, "/v1/asks/counts", nil)
	d.Open, d.Overdue = n.Open, n.Overdue
	for _, one := range n.Counts {
		if one.OverAWeek {
			d.Week += one.Number
		}
	}
	return err
}
