package web_test

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/wording"
)

// What a form holds.
var (
	inputs = regexp.MustCompile(`<input [^>]*>`)          //nolint:gochecknoglobals // compiled once
	fields = regexp.MustCompile(`(name|value)="([^"]*)"`) //nolint:gochecknoglobals // compiled once
)

func attribute(input, name string) string {
	for _, found := range fields.FindAllStringSubmatch(input, -1) {
		if found[1] == name {
			return html.UnescapeString(found[2])
		}
	}
	return ""
}

// followed is a rig with a case, and a visitor who is signed in.
func followed(t *testing.T, role access.Role) (*rig, store.Case, *visitor) {
	t.Helper()
	r := newRig(t, nil)
	c := r.planted(1)
	r.person(role, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	return r, c, v
}

// TestAsksAreAnsweredOnTheirPage has the owner say what came of asks: done, seen with a grade, not reached, and corrected.
func TestAsksAreAnsweredOnTheirPage(t *testing.T) {
	r, c, v := followed(t, access.Operator)
	list := v.get("/follow-up?whose=all")
	require.Equal(t, http.StatusOK, list.status, list.body)
	inform := r.askOf(c, "inform")
	assert.Contains(t, list.body, `href="/asks/`+inform.ID+`"`)
	assert.Contains(t, list.body, "due today")
	assert.NotContains(t, list.body, plantedName, "a list of asks names nobody")
	p := v.get("/asks/" + inform.ID)
	require.Equal(t, http.StatusOK, p.status, p.body)
	assert.Contains(t, p.body, plantedNumber, "whose case it is, in the banner")
	assert.NotContains(t, p.body, "<script>alert")
	p = v.post("/asks/"+inform.ID+"/answer", "outcome", "not-reached", "day", "2026-09-14", "final", "yes", "note", " ")
	assert.Equal(t, http.StatusUnprocessableEntity, p.status)
	assert.Contains(t, p.body, "an ask that ends unanswered wants a note that says why")
	assert.Regexp(t, `value="not-reached" required checked`, p.body, "what was chosen stands")
	p = v.post("/asks/"+inform.ID+"/answer", "outcome", "not-reached", "day", "2026-09-14")
	assert.Equal(t, "/asks/"+inform.ID+"?done=ask-attempt", p.location, p.body)
	p = v.post("/asks/"+inform.ID+"/answer", "outcome", "done", "day", "2026-09-14", "note", "told on the ward")
	assert.Equal(t, "/asks/"+inform.ID+"?done=ask-answered", p.location, p.body)
	p = v.get(p.location)
	for _, want := range []string{"The answer is kept.", "told on the ward", "attempt", "Correct the answer", anyone} {
		assert.Contains(t, p.body, want)
	}
	r.clock.Pass(30 * 24 * time.Hour)
	v.signIn(anyone, words)
	month := r.askOf(c, "month")
	p = v.get("/asks/" + month.ID)
	assert.Contains(t, p.body, "bands A2, B", "the grades name their bands")
	assert.Contains(t, p.body, "Balter et al 2010")
	p = v.post("/asks/"+month.ID+"/answer", "outcome", "seen", "day", "2026-10-14", "grade", "2", "note", "a long text that nobody types twice")
	assert.Equal(t, http.StatusUnprocessableEntity, p.status)
	assert.Contains(t, p.body, "a reaction wants the place on the body")
	assert.Contains(t, p.body, "a long text that nobody types twice")
	p = v.post("/asks/"+month.ID+"/answer", "outcome", "seen", "day", "2026-10-14", "grade", "2", "place", "left back", "picture", "archive 7", "note", "photographed")
	require.Equal(t, http.StatusSeeOther, p.status, p.body)
	a := r.askOf(c, "month")
	require.NotNil(t, a.Answer)
	assert.Equal(t, []any{ask.Answered, 2.0, "left back", "archive 7"}, []any{a.State, a.Answer.Grade.Or(-1), a.Answer.Place, a.Answer.Picture})
	assert.NotContains(t, v.get("/cases/"+c.ID+"/follow-up").body, "0x", "no address of memory in place of a value")
	assert.Contains(t, v.get("/cases/"+c.ID+"/follow-up").body, "A reaction of grade 2 or more was seen", "and that asks for more")
}

// TestAnAskIsHandedOver asks a colleague instead, and shows overdue and escalated asks as such.
func TestAnAskIsHandedOver(t *testing.T) {
	r, c, v := followed(t, access.Physicist)
	other := r.person(access.Operator, "surgeon", words)
	r.person(access.Admin, "keeper", words)
	inform := r.askOf(c, "inform")
	p := v.get("/asks/" + inform.ID)
	assert.Contains(t, p.body, `<option value="`+other.ID+`"`)
	assert.NotContains(t, p.body, "keeper", "who sees no cases is asked nothing")
	p = v.post("/asks/"+inform.ID+"/handover", "to", other.ID, "reason", "on duty this week")
	require.Equal(t, "/asks/"+inform.ID+"?done=ask-handed", p.location, p.body)
	p = v.get(p.location)
	for _, want := range []string{"Handed over.", "surgeon", "on duty this week", "handed over"} {
		assert.Contains(t, p.body, want)
	}
	r.clock.Pass(4 * 24 * time.Hour)
	v.signIn(anyone, words)
	assert.Contains(t, v.get("/follow-up?state=overdue").body, "overdue by 4 days")
	_, err := r.db.EscalateAsks(context.Background())
	require.NoError(t, err)
	assert.Contains(t, v.get("/follow-up?state=overdue").body, "overdue by 4 days, told to others")
	assert.Contains(t, v.get("/asks/"+inform.ID).body, `<strong>told</strong>`, "the step of the ladder")
}

// TestAFlagIsSettledWithAReason shows the grounds that hold, never the program's own estimate against a reported quantity, and
// keeps a superseded flag in sight with why.
func TestAFlagIsSettledWithAReason(t *testing.T) {
	r, c, v := followed(t, access.Physicist)
	f := r.flagOf(c, level.Kerma)
	p := v.get("/flags/" + f.ID)
	require.Equal(t, http.StatusOK, p.status, p.body)
	for _, want := range []string{"5.43 Gy", "5.00 Gy", "0.43 Gy", "NCRP Report 168 (2010)", "reported", "this procedure", "3.5 Gy", "2.5 – 4.6 Gy", `value="measurement"`} {
		assert.Contains(t, p.body, want)
	}
	for _, not := range []string{`value="estimate"`, `value="own-estimate"`, `value="follow-up"`} {
		assert.NotContains(t, p.body, not)
	}
	p = v.post("/flags/"+f.ID+"/settle", "ground", "estimate", "reason", "the map says less")
	assert.Equal(t, http.StatusUnprocessableEntity, p.status)
	assert.Contains(t, p.body, "never settles a flag of a reported quantity")
	assert.Contains(t, p.body, "the map says less")
	p = v.post("/flags/"+f.ID+"/own-estimate", "value", "two", "low", "1", "high", "3", "method", "film", "why", "the table was high")
	assert.Contains(t, p.body, "three numbers in Gy")
	assert.Contains(t, p.body, "the table was high")
	p = v.post("/flags/"+f.ID+"/own-estimate", "value", "2,1", "low", "1.8", "high", "2.4", "method", "film", "why", "the table was high")
	require.Equal(t, http.StatusSeeOther, p.status, p.body)
	p = v.get("/flags/" + f.ID)
	for _, want := range []string{"2.1 Gy", "1.8 – 2.4 Gy", "film", "3.5 Gy", `value="own-estimate"`} {
		assert.Contains(t, p.body, want, "both estimates")
	}
	p = v.post("/flags/"+f.ID+"/settle", "ground", "own-estimate", "reason", "film of the day")
	require.Equal(t, "/flags/"+f.ID+"?done=flag-settled", p.location, p.body)
	p = v.get(p.location)
	assert.Contains(t, p.body, "film of the day")
	assert.NotContains(t, p.body, `action="/flags/`+f.ID+`/settle"`)
}

// TestSupersededFlagsStayInSight estimates a case anew below a level.
func TestSupersededFlagsStayInSight(t *testing.T) {
	r, c, v := followed(t, access.Operator)
	f := r.flagOf(c, level.PSD)
	tag, err := r.db.Tag(context.Background(), c.ID)
	require.NoError(t, err)
	fact := store.Fact{Name: "height_cm", Value: "171", Source: "ward", Reason: "measured"}
	require.NoError(t, r.db.AddFacts(context.Background(), store.System("test"), c.ID, tag, []store.Fact{fact}))
	c.PSD = quantity.Some[quantity.Gray](2.1)
	r.assessed(c)
	for _, path := range []string{"/cases/" + c.ID + "/follow-up", "/flags/" + f.ID} {
		p := v.get(path)
		require.Equal(t, http.StatusOK, p.status, path)
		assert.Contains(t, p.body, "superseded", path)
		assert.Contains(t, p.body, "3.46 Gy", path)
		assert.Contains(t, p.body, r.flagOf(c, level.PSD).Why, path)
	}
	assert.NotContains(t, v.get("/flags/"+f.ID).body, "/settle")
}

// TestNoticesArePutOnOnePage shows who was told what, has one sent again, and keeps what a person wants to be told.
func TestNoticesArePutOnOnePage(t *testing.T) {
	r, c, v := followed(t, access.Operator)
	n, err := r.db.LastNotice(context.Background(), c.ID)
	require.NoError(t, err)
	p := v.get("/cases/" + c.ID + "/notices")
	require.Equal(t, http.StatusOK, p.status, p.body)
	for _, want := range []string{"First notice", n.ID, "a follow-up level is newly reached", "Nobody has said to have seen it."} {
		assert.Contains(t, p.body, want)
	}
	assert.Contains(t, v.get("/cases/"+c.ID+"/notices?show="+n.ID).body, "5.43 Gy")
	p = v.post("/cases/"+c.ID+"/notices/"+n.ID+"/resend", "reason", "no")
	assert.Equal(t, http.StatusUnprocessableEntity, p.status)
	p = v.post("/cases/"+c.ID+"/notices/"+n.ID+"/resend", "reason", "the mailbox was full")
	require.Equal(t, "/cases/"+c.ID+"/notices?done=notice-again", p.location, p.body)
	p = v.post("/me/notices", "level", "follow-up", "language", "de", "quiet", "own", "digest", "none", "channels_by", "site", "quiet_from", "22:00")
	assert.Equal(t, http.StatusUnprocessableEntity, p.status)
	assert.Contains(t, p.body, `value="22:00"`)
	p = v.post("/me/notices", "level", "follow-up", "language", "de", "quiet", "own", "digest", "none", "channels_by", "site", "quiet_from", "22:00", "quiet_to", "06:00")
	require.Equal(t, "/me/notices?done=preferences", p.location, p.body)
	assert.Contains(t, v.get("/me/notices").body, "22:00 – 06:00")
	p = v.post("/me/notices", "level", "site", "language", "site", "quiet", "site", "digest", "site", "channels_by", "site")
	require.Equal(t, http.StatusSeeOther, p.status)
	assert.NotContains(t, v.get("/me/notices").body, "22:00 –")
}

// TestLevelsWantTwoPeople proposes a level, which its author cannot put in force and another physicist can.
func TestLevelsWantTwoPeople(t *testing.T) {
	r, _, v := followed(t, access.Physicist)
	r.person(access.Physicist, "second", words)
	p := v.get("/levels")
	require.Equal(t, http.StatusOK, p.status)
	for _, want := range []string{"NCRP 168 substantial levels", "500 Gy·cm²", "NCRP Report 168 (2010)", "Propose other levels"} {
		assert.Contains(t, p.body, want)
	}
	form := draftOf(t, v.get("/levels/draft").body)
	form["value1"] = "6"
	form["new_id"], form["new_value"], form["new_quantity"], form["new_meaning"] = "small", "1.5", "kar", "notification"
	p = v.post("/levels/draft", pairsOf(form)...)
	assert.Equal(t, http.StatusUnprocessableEntity, p.status, "without a source")
	assert.Regexp(t, `name="value1"[^>]*value="6"`, p.body, "what was typed stands")
	form["new_source"], form["reason"] = "vote of the committee", "children of our clinic"
	p = v.post("/levels/draft", pairsOf(form)...)
	require.Equal(t, http.StatusSeeOther, p.status, p.body)
	path, _, _ := strings.Cut(p.location, "?")
	p = v.get(path)
	for _, want := range []string{"5 Gy", "6 Gy", "vote of the committee", "You proposed this.", "children of our clinic", "1 case from"} {
		assert.Contains(t, p.body, want)
	}
	assert.NotContains(t, p.body, path+"/approve")
	assert.Equal(t, http.StatusUnprocessableEntity, v.post(path+"/approve", "reason", "I like it").status, "nor by sending the form")
	second := r.visitor()
	second.signIn("second", words)
	p = second.post(path+"/approve", "reason", "seen with the preview")
	require.Equal(t, path+"?done=levels-approved", p.location, p.body)
	assert.Contains(t, v.get("/levels").body, "In force is version 1 of the site&#39;s levels.")
	r.person(access.Operator, "surgeon", words)
	third := r.visitor()
	third.signIn("surgeon", words)
	assert.Equal(t, http.StatusOK, third.get("/levels").status)
	assert.Equal(t, http.StatusForbidden, third.get("/levels/draft").status)
}

// draftOf reads the fields of the form of a draft as a browser would send them.
func draftOf(t *testing.T, body string) map[string]string {
	t.Helper()
	form := map[string]string{}
	for _, input := range inputs.FindAllString(body, -1) {
		name, value := attribute(input, "name"), attribute(input, "value")
		if strings.Contains(input, `type="checkbox"`) && !strings.Contains(input, " checked") {
			continue
		}
		form[name] = value
	}
	require.NotEmpty(t, form["mark"])
	return form
}

func pairsOf(form map[string]string) []string {
	var pairs []string
	for name, value := range form {
		pairs = append(pairs, name, value)
	}
	return pairs
}

// TestTheWordsOfAsksAreTheSchedules compares the pages' English words with the schedule's.
func TestTheWordsOfAsksAreTheSchedules(t *testing.T) {
	book, err := wording.Load(os.DirFS("language"))
	require.NoError(t, err)
	seen := 0
	for _, row := range ask.Default().Rows {
		assert.Equal(t, ask.Words(row.Text), book.In("en").Text("asked."+strings.TrimPrefix(row.Text, "ask.")), row.Slot)
		seen++
	}
	assert.Greater(t, seen, 10)
	for n := 0; ask.GradeWords(n) != ""; n++ {
		assert.Equal(t, ask.GradeWords(n), book.In("en").Text(fmt.Sprintf("ask.grade%d", n)))
	}
}
