package ask_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

func TestEveryRowHasWordsAndASource(t *testing.T) {
	s := ask.Default()
	require.NotEmpty(t, s.Rows)
	for _, r := range s.Rows {
		assert.NotEqual(t, r.Text, ask.Words(r.Text), "no words for %s", r.Text)
		assert.NotEmpty(t, r.Source)
		assert.NotEmpty(t, r.Known)
	}
	for _, step := range s.Ladder {
		assert.NotEmpty(t, step.Source)
	}
	assert.Equal(t, "site.own", ask.Words("site.own"), "a site's own key stands for itself")
}

func TestNoVerdicts(t *testing.T) {
	for _, r := range ask.Default().Rows {
		text := strings.ToLower(ask.Words(r.Text))
		for _, word := range []string{"allowance", "allowed", "forbidden", "remaining", "limit", "exceed", "error", "mistake", "fault"} {
			assert.NotContains(t, text, word)
		}
	}
	for _, table := range ask.Tables() {
		assert.NotContains(t, strings.ToLower(table), "sentinel")
	}
}

// TestDays counts local dates: working days pass over the weekend, the change to winter time loses none.
func TestDays(t *testing.T) {
	tests := map[string]struct {
		day, today string
		slot, want string
	}{
		"two working days from Thursday":    {"2026-09-17", "2026-09-17", "review", "2026-09-21"},
		"two working days from Friday":      {"2026-09-18", "2026-09-18", "review", "2026-09-22"},
		"two working days from Saturday":    {"2026-09-19", "2026-09-19", "review", "2026-09-22"},
		"fourteen days over winter time":    {"2026-10-20", "2026-10-20", "early", "2026-11-03"},
		"thirty-three days over the year":   {"2026-12-10", "2026-12-10", "month", "2027-01-12"},
		"fourteen days over a leap day":     {"2028-02-20", "2028-02-20", "early", "2028-03-05"},
		"a day not known counts from today": {"", "2026-09-14", "early", "2026-09-28"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := reachedCase()
			c.Day, c.Today = tt.day, tt.today
			due := map[string]string{}
			for _, w := range ask.Default().Wanted(c) {
				due[w.Slot] = w.Due
			}
			assert.Equal(t, tt.want, due[tt.slot])
		})
	}
	assert.Equal(t, 14, ask.DaysBetween("2026-10-20", "2026-11-03"))
	assert.Equal(t, -1, ask.DaysBetween("2026-10-20", "2026-10-19"))
	assert.Zero(t, ask.DaysBetween("", "2026-10-19"))
}

func reachedCase() ask.Case {
	return ask.Case{Day: procedureDay, Today: procedureDay, State: level.Reached, Flags: []ask.Flag{{
		Key: ask.Key{Scope: "case", Scheme: "ncrp168", Level: "kar"}, Meaning: "follow-up", Quantity: level.Kerma, State: level.Reached,
		Value: quantity.Some(5.5), Level: quantity.Some(5.0),
	}}}
}

func TestLadder(t *testing.T) {
	s := ask.Default()
	tests := []struct {
		owner ask.Role
		days  int
		want  ask.Role
	}{
		{ask.Operator, 0, ""},
		{ask.Operator, 1, ask.Operator},
		{ask.Operator, 2, ask.Operator},
		{ask.Operator, 3, ask.Physicist},
		{ask.Operator, 7, ask.Quality},
		{ask.Operator, 400, ask.Quality},
		{ask.Physicist, 1, ask.Physicist},
		{ask.Physicist, 5, ask.Quality},
	}
	for _, tt := range tests {
		a := ask.Ask{Owner: tt.owner, Due: procedureDay, State: ask.Open}
		assert.Equal(t, tt.want, s.Rung(a, dayAfter(tt.days)).To, "%s after %d days", tt.owner, tt.days)
		a.State = ask.Answered
		assert.Zero(t, s.Rung(a, dayAfter(tt.days)))
	}
}

func TestALowEstimateSettlesNothing(t *testing.T) {
	for _, q := range []level.Quantity{level.Kerma, level.KAP, level.FluoroTime} {
		f := ask.Standing{Meaning: "follow-up", Quantity: q}
		err := ask.Settlement{Ground: ask.OnEstimate, Reason: "the estimate is low"}.Check(ask.Physicist, f)
		require.ErrorIs(t, err, ask.ErrRefused, q)
		require.ErrorIs(t, ask.Settlement{Ground: ask.OnOwnEstimate, Reason: "r"}.Check(ask.Physicist, f), ask.ErrRefused, "there is none")
		f.Own = true
		assert.NoError(t, ask.Settlement{Ground: ask.OnOwnEstimate, Reason: "film"}.Check(ask.Physicist, f))
	}
	f := ask.Standing{Meaning: "follow-up", Quantity: level.PSD, Open: 2}
	assert.NoError(t, ask.Settlement{Ground: ask.OnEstimate, Reason: "estimated anew"}.Check(ask.Physicist, f))
	require.ErrorIs(t, ask.Settlement{Ground: ask.OnFollowUp, Reason: "done"}.Check(ask.Physicist, f), ask.ErrRefused, "two asks are open")
	require.ErrorIs(t, ask.Settlement{Ground: ask.OnMeasurement, Reason: "r"}.Check(ask.Operator, f), ask.ErrRole)
	require.ErrorIs(t, ask.Settlement{Ground: ask.OnMeasurement}.Check(ask.Physicist, f), ask.ErrInvalid)
	require.ErrorIs(t, ask.Settlement{Ground: "feeling", Reason: "r"}.Check(ask.Physicist, f), ask.ErrInvalid)
	notified := ask.Standing{Meaning: ask.Notification, Quantity: level.Kerma}
	assert.NoError(t, ask.Settlement{Ground: ask.OnRecord, Reason: "read"}.Check(ask.Operator, notified))
	require.ErrorIs(t, ask.Settlement{Ground: ask.OnRecord, Reason: "read"}.Check(ask.Quality, notified), ask.ErrRole)
}

// TestReconcileIsIdempotent takes any case through any other: doing it again changes nothing, a slot stands once, and an ask
// that was open is never gone.
func TestReconcileIsIdempotent(t *testing.T) {
	s := ask.Default()
	rapid.Check(t, func(t *rapid.T) {
		var have []ask.Held
		for step := range rapid.IntRange(1, 5).Draw(t, "versions") {
			c := anyCase(t, step)
			changes := s.Reconcile(have, s.Wanted(c))
			next := applied(have, changes)
			for _, h := range have {
				found := false
				for _, n := range next {
					found = found || n.Slot == h.Slot
				}
				if !found {
					t.Fatalf("%s is gone", h.Slot)
				}
			}
			slots := map[string]bool{}
			for _, n := range next {
				if slots[n.Slot] {
					t.Fatalf("%s twice", n.Slot)
				}
				slots[n.Slot] = true
			}
			if again := s.Reconcile(next, s.Wanted(c)); len(again) > 0 {
				t.Fatalf("again: %+v", again)
			}
			have = next
		}
	})
}

func anyCase(t *rapid.T, step int) ask.Case {
	states := []level.State{level.Reached, level.Near, level.Unknown, level.Below}
	c := ask.Case{
		Day: dayAfter(rapid.IntRange(-3, 3).Draw(t, "day")), Today: dayAfter(step*7 + rapid.IntRange(0, 60).Draw(t, "today")),
		Quality: rapid.IntRange(0, 9).Draw(t, "quality") == 0, State: rapid.SampledFrom(states).Draw(t, "state"), Pregnant: rapid.Bool().Draw(t, "pregnant"),
	}
	for _, name := range []string{"psd", "kar", "risk"} {
		meaning := "follow-up"
		if name == "risk" {
			meaning = "risk management"
		}
		q := level.PSD
		if name == "kar" {
			q = level.Kerma
		}
		c.Flags = append(c.Flags, ask.Flag{
			Key: ask.Key{Scope: "case", Scheme: "s", Level: name}, Meaning: meaning, Quantity: q, State: rapid.SampledFrom(states).Draw(t, name),
			Value: quantity.Some(rapid.Float64Range(0, 20).Draw(t, name+" value")), Level: quantity.Some(5.0), Settled: rapid.Bool().Draw(t, name+" settled"),
		})
	}
	if rapid.Bool().Draw(t, "reaction") {
		c.Grade, c.GradeDay = quantity.Some(float64(rapid.IntRange(0, 4).Draw(t, "grade"))), c.Today
	}
	return c
}

func TestGradesAndBands(t *testing.T) {
	for grade := range 5 {
		assert.NotEmpty(t, ask.GradeWords(grade))
	}
	assert.Empty(t, ask.GradeWords(5))
	assert.Empty(t, ask.GradeWords(-1))
	for grade, want := range map[int]string{0: "", 1: "A2 B", 2: "B C", 3: "C D", 4: "D"} {
		assert.Equal(t, want, strings.Join(ask.BandsOf(grade), " "), "grade %d", grade)
	}
}

// TestCheckpoints compares with points from outside: C10 and C14 in the package of the levels too.
func TestCheckpoints(t *testing.T) {
	// C10: Balter et al 2010 through AAPM MPPG 12.a (read), edges judgement.
	for dose, want := range map[quantity.Gray]string{1.9: "A1", 2.0: "A2", 4.9: "A2", 5.0: "B", 9.9: "B", 10: "C", 15.0: "C", 15.1: "D"} {
		assert.Equal(t, want, level.BandOf(dose).Name, "C10: %v Gy", float64(dose))
	}
	// C11: NCI and SIR 2005 (read): a visit at 30 days from 2 Gy of skin dose or 3 Gy in all.
	for name, tt := range map[string]struct {
		psd, kar float64
		want     bool
	}{"C11: 1.9 and 2.9": {1.9, 2.9, false}, "C11: 2.0 and 1.0": {2, 1, true}, "C11: 0.5 and 3.0": {0.5, 3, true}} {
		d := decision{"kar": fmt.Sprint(tt.kar), "psd": fmt.Sprint(tt.psd), "psd_high": fmt.Sprint(tt.psd)}
		c, _ := d.judgedBy(t, scheme("nci2005"))
		got := false
		for _, w := range ask.Default().Wanted(c) {
			got = got || w.Kind == ask.MonthCheck
		}
		assert.Equal(t, tt.want, got, name)
	}
	// C12: NCRP 168 (5 Gy read, 3 Gy secondhand).
	for name, tt := range map[string]struct {
		psd, kar float64
		want     bool
	}{"C12: 4.99 and 2.9": {2.9, 4.99, false}, "C12: 5.0": {1, 5, true}, "C12: 3.0 and 3.2": {3, 3.2, true}} {
		d := decision{"kar": fmt.Sprint(tt.kar), "psd": fmt.Sprint(tt.psd), "psd_high": fmt.Sprint(tt.psd)}
		c, _ := d.judgedBy(t, scheme("ncrp168"))
		assert.Equal(t, tt.want, c.State == level.Reached, name)
	}
	// C13: AAPM MPPG 12.a (secondhand): first at 3 Gy, then each 1 Gy.
	_, alone := decision{"kar": "6.2"}.judged(t)
	assert.Equal(t, 4, notices(alone), "C13")
	// C14: Stecker et al 2009 footnote (memory): 500 Gy cm2 for 100 cm2.
	for field, want := range map[string]float64{"50": 250, "100": 500, "200": 1000} {
		c, _ := decision{"kap": "1", "field_cm2": field}.judgedBy(t, scheme("ncrp168"))
		for _, f := range c.Flags {
			if f.Quantity == level.KAP {
				assert.InEpsilon(t, want, f.Level.Or(0)/float64(quantity.GraySquareCentimetre), 1e-12, "C14: %s cm2, rounding alone", field)
			}
		}
	}
}

// scheme gives the published set with one scheme on.
func scheme(name string) level.Set {
	s := level.Default()
	for i := range s.Rows {
		s.Rows[i].On = s.Rows[i].Scheme == name && s.Rows[i].Quantity != level.QuantityNone
	}
	return s
}

func TestScheduleOfASite(t *testing.T) {
	const header = "slot,kind,owner,count,days,from,due,if_past,state,meaning,kar_gy,psd_gy,grade,superseded,settled,text,source,known\n"
	good := header + "month,month-check,operator,procedure,calendar,27,33,7,reached,follow-up,,,,close,close,ask.month-check,site,judgement\n"
	s, err := ask.Parse(strings.NewReader(good))
	require.NoError(t, err)
	assert.Len(t, s.Rows, 1)
	assert.NotEmpty(t, s.Ladder)
	for name, change := range map[string][2]string{
		"columns":               {"slot,", "place,"},
		"kind":                  {"month-check,operator", "dance,operator"},
		"owner":                 {",operator,", ",auditor,"},
		"count":                 {",procedure,", ",moon,"},
		"days":                  {",calendar,", ",lunar,"},
		"from after due":        {",27,33,", ",34,33,"},
		"no due":                {",27,33,", ",27,,"},
		"if past":               {",33,7,", ",33,,"},
		"state":                 {",reached,", ",seen,"},
		"no source":             {",site,", ",,"},
		"a grade beside":        {",,,,close", ",,,2,close"},
		"closing":               {",close,close,", ",perhaps,close,"},
		"nobody is asked":       {",reached,", ",near,"},
		"a number that is none": {",27,33,", ",x,33,"},
	} {
		_, err := ask.Parse(strings.NewReader(strings.Replace(good, change[0], change[1], 1)))
		assert.ErrorIs(t, err, ask.ErrInvalid, name)
	}
}
