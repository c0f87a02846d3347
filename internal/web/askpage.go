package web

import (
	"net/http"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	asks "afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
)

func askPages() []page {
	read := []access.Operation{"getAsk", "getFollowUp", "getSchedule", "getPatient", "listColleagues"}
	return []page{
		{method: http.MethodGet, path: "/asks/:id", title: "ask.title", template: "ask.html", needs: read, serve: func(v *view) (any, error) { return v.askPage("") }},
		{method: http.MethodPost, path: "/asks/:id/answer", title: "ask.title", template: "ask.html", needs: append(read, "answerAsk"), serve: answerAsk},
		{method: http.MethodPost, path: "/asks/:id/handover", title: "ask.title", template: "ask.html", needs: append(read, "handOverAsk"), serve: handOverAsk},
	}
}

// askData is one ask with its history and what may be said to it.
type askData struct {
	banner
	Ask     askRow
	History []askEventRow
	// GradeWords and Bands say what the grade of the answer looks like.
	GradeWords, Bands string
	AnsweredBy        string
	Flags             []flagRow // of its case
	// MayAnswer tells whether the person's role may; Outcomes are what may be said, Grades what may have been seen.
	MayAnswer bool
	Outcomes  []string
	Looks     bool
	Grades    []gradeRow
	// To are whom it may be handed to.
	To         []httpapi.Colleague
	Ladder     []httpapi.LadderStep
	Today      string
	Typed      typed
	Wrong      string
	Source     string // of the grades and bands
	BandSource string
}

type askEventRow struct {
	httpapi.AskEvent
	By, Person string
}

// gradeRow is a published grade with the bands of skin dose beside which it stands.
type gradeRow struct {
	Grade        string
	Words, Bands string
}

func (v *view) grades() []gradeRow {
	var all []gradeRow
	for n := 0; asks.GradeWords(n) != ""; n++ {
		words := asks.GradeWords(n)
		if key := "ask.grade" + strconv.Itoa(n); v.lang.Has(key) {
			words = v.lang.Text(key)
		}
		all = append(all, gradeRow{strconv.Itoa(n), words, strings.Join(asks.BandsOf(n), ", ")})
	}
	return all
}

// outcomesOf are what may be said to an ask.
func outcomesOf(kind asks.Kind) []string {
	switch {
	case kind == asks.Refer:
		return []string{"done", "seen", "not-reached"}
	case kind.LooksAtSkin():
		return []string{"seen", "not-reached"}
	case kind == asks.Inform:
		return []string{"done", "not-reached"}
	}
	return []string{"done"}
}

func (v *view) askPage(wrong string) (askData, error) {
	d := askData{Typed: v.typed(), Wrong: wrong, Grades: v.grades(), BandSource: level.BandSource}
	detail, err := ask[httpapi.AskDetail](v, http.MethodGet, "/v1/asks/"+escape(v.param("id")), nil)
	if err != nil {
		return d, err
	}
	c, of, banner, err := v.followedUp(detail.Ask.ProcedureId)
	if err != nil {
		return d, err
	}
	d.banner = banner
	d.Today, d.Ask, d.Flags = of.Today, v.askRow(detail.Ask, of.Today, c), flagRows(of.Flags)
	kind := asks.Kind(detail.Ask.Kind)
	d.Outcomes, d.Looks = outcomesOf(kind), kind.LooksAtSkin()
	d.MayAnswer = asks.MayAnswer(asks.Role(v.grant.Role), asks.Ask{Owner: asks.Role(detail.Ask.Owner)}) == nil
	d.To = c.mayDo(string(detail.Ask.Owner))
	if a := detail.Ask.Answer; a != nil && a.Grade != nil && *a.Grade < len(d.Grades) {
		d.GradeWords, d.Bands = d.Grades[*a.Grade].Words, strings.Join(detail.Bands, ", ")
	}
	if by := detail.Ask.AnsweredBy; by != nil {
		d.AnsweredBy = c.name(*by)
	}
	for _, e := range detail.History {
		row := askEventRow{AskEvent: e, By: c.name(e.Actor)}
		if e.PersonId != nil {
			row.Person = c.name(*e.PersonId)
		}
		d.History = append(d.History, row)
	}
	plan, err := ask[httpapi.FollowUpSchedule](v, http.MethodGet, "/v1/follow-up-schedule", nil)
	for _, step := range plan.Ladder {
		if step.Owner == string(detail.Ask.Owner) {
			d.Ladder = append(d.Ladder, step)
		}
	}
	return d, err
}

// answerAsk keeps what the person says to an ask, an attempt as well as an answer.
func answerAsk(v *view) (any, error) {
	said := httpapi.AskAnswer{
		Outcome: httpapi.AskAnswerOutcome(v.form("outcome")), Day: v.text("day"), Place: v.optional("place"), Picture: v.optional("picture"),
		Note: v.optional("note"), Correction: v.optional("correction"),
	}
	if n, err := strconv.Atoi(v.form("grade")); err == nil && said.Outcome == httpapi.Seen {
		said.Grade = &n
	}
	if last := v.form("final") != ""; last && said.Outcome == httpapi.NotReached {
		said.Final = &last
	}
	path := "/asks/" + escape(v.param("id"))
	a, err := ask[httpapi.AskDetail](v, http.MethodPost, "/v1"+path+"/answer", said)
	done := "ask-answered"
	if err == nil && a.Ask.State == httpapi.AskStateOpen {
		done = "ask-attempt"
	}
	return v.answered(err, path+"?done="+done, func(wrong string) (any, error) { return v.askPage(wrong) })
}

// handOverAsk asks another person.
func handOverAsk(v *view) (any, error) {
	path := "/asks/" + escape(v.param("id"))
	_, err := ask[httpapi.AskDetail](v, http.MethodPost, "/v1"+path+"/handover", httpapi.HandoverRequest{AccountId: v.form("to"), Reason: v.text("reason")})
	return v.answered(err, path+"?done=ask-handed", func(wrong string) (any, error) { return v.askPage(wrong) })
}
