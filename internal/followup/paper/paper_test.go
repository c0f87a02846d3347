package paper_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
)

// case1 is a case of an estimate alone.
func case1() paper.Input {
	gy := func(v quantity.Gray) quantity.Opt[quantity.Gray] { return quantity.Some(v) }
	return paper.Input{
		Assessment: assessment.Assessment{
			Procedure: procedure.Procedure{Start: procedure.Moment{Time: time.Date(2026, 10, 27, 8, 47, 0, 0, time.UTC)}, State: procedure.Complete},
			Class:     lexicon.ClassOf("coronary_intervention"), Dose: procedure.CaseDose{Kerma: gy(2.999)},
			SkinDose: skindose.Estimate{Value: gy(2.96), Low: gy(1.5), High: gy(4), Method: skindose.MethodMap, Peak: skindose.Place{Region: "left posterior chest", Side: "3 cm left of the posterior midline along the skin", Level: "48 cm above the trunk base"}},
			Levels:   level.Evaluation{State: level.Near, Results: []level.Result{{Row: level.Row{Quantity: level.Kerma, Value: 3}, Level: 3}}},
		},
		Person: paper.Person{Name: "Synthetic^One", Number: "SYN-1", BirthDate: "1954-03-11"},
		Site:   paper.Site{Centre: "A centre", Phone: "000 555 0100"},
		Stamp:  paper.Stamp{ID: "p", Made: time.Date(2026, 11, 2, 9, 0, 0, 0, time.FixedZone("", 3600))},
	}
}

func text(t *testing.T, kind paper.Kind, language string, in paper.Input) string {
	t.Helper()
	d, err := paper.Compose(kind, language, in)
	require.NoError(t, err)
	return strings.ReplaceAll(strings.Join(d.Texts(), "\n"), "\u00a0", " ")
}

func TestBelowALevelNeverPrintsAsTheLevel(t *testing.T) {
	for _, kind := range paper.Kinds() {
		got := text(t, kind, "en", case1())
		assert.Contains(t, got, "2.99 Gy", kind)
		assert.Contains(t, got, "estimated 2.96 Gy, range 1.5 to 4.0 Gy", kind)
		assert.NotContains(t, strings.ReplaceAll(got, "level 3.00 Gy", ""), "3.00 Gy")
		assert.NotContains(t, got, "3.0 Gy")
		assert.Contains(t, text(t, kind, "de", case1()), "geschätzt 2,96 Gy, Bereich 1,5 bis 4,0 Gy", kind)
	}
}

func TestStates(t *testing.T) {
	for state, want := range map[level.State]string{
		level.Reached: "on for longer than usual", level.Near: "on for a long time", level.Unknown: "We do not know exactly", level.Below: "to see where to work.",
	} {
		in := case1()
		in.Assessment.Levels.State = state
		assert.Contains(t, text(t, paper.PatientSheet, "en", in), want, state)
	}
	in := case1()
	in.Sums = []assessment.Sum{{Days: 60, Procedures: 2, Levels: level.Evaluation{State: level.Reached}}}
	assert.Contains(t, text(t, paper.PatientSheet, "en", in), "on for longer than usual", "a level reached together is reached")
}

// The days are those that were asked for; the usual windows where nothing was; and none is invented without a day.
func TestDaysToLook(t *testing.T) {
	in := case1()
	assert.Contains(t, text(t, paper.PatientSheet, "en", in), "from 6 November 2026 to 10 November 2026")
	assert.Contains(t, text(t, paper.PatientSheet, "en", in), "about 26 November 2026")
	in.Asks = []ask.Ask{{Kind: ask.MonthCheck, From: "2026-11-20", Due: "2026-11-27", State: ask.Open, Owner: ask.Operator}, {Kind: ask.EarlyCheck, From: "2026-11-05", Due: "2026-11-09", State: ask.Open, Owner: ask.Operator}}
	got := text(t, paper.PatientSheet, "de", in)
	assert.Contains(t, got, "vom 5. November 2026 bis 9. November 2026")
	assert.Contains(t, got, "vom 20. November 2026 bis 27. November 2026")
	assert.Contains(t, text(t, paper.PhysicistReport, "en", in), "2026-11-27")
	in = case1()
	in.Stamp.Made = time.Date(2026, 11, 11, 0, 0, 0, 0, time.UTC)
	late := text(t, paper.PatientSheet, "en", in)
	assert.Contains(t, late, "as soon as this arrives", "days that are past are not asked for")
	assert.Contains(t, late, "about 26 November 2026")
	in = case1()
	in.Assessment.Procedure.Start = procedure.Moment{}
	for _, kind := range []paper.Kind{paper.PatientSheet, paper.DoctorLetter} {
		assert.Contains(t, text(t, kind, "en", in), "10 to 14 days")
	}
}

func TestRefused(t *testing.T) {
	tests := map[string]struct {
		kind     paper.Kind
		language string
		change   func(in *paper.Input)
		want     string
	}{
		"no such paper":      {"receipt", "en", func(*paper.Input) {}, `no paper "receipt"`},
		"no such language":   {paper.PatientSheet, "xx", func(*paper.Input) {}, `no language "xx", wanted is one of en, de`},
		"a test object":      {paper.PhysicistReport, "en", func(in *paper.Input) { in.Assessment.Procedure.Purpose = procedure.PurposeQualityControl }, "test object"},
		"nobody to hand to":  {paper.PatientSheet, "en", func(in *paper.Input) { in.Person.Name = "^^" }, "name no patient"},
		"nobody to call":     {paper.DoctorLetter, "de", func(in *paper.Input) { in.Site.Phone = "" }, "site.phone"},
		"too long a address": {paper.DoctorLetter, "de", func(in *paper.Input) { in.Recipient = make([]string, 7) }, "7 lines"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			in := case1()
			tt.change(&in)
			_, err := paper.Compose(tt.kind, tt.language, in)
			require.ErrorIs(t, err, paper.ErrRefused)
			assert.ErrorContains(t, err, tt.want)
		})
	}
	in := case1()
	in.Person, in.Site.Phone = paper.Person{}, ""
	_, err := paper.Compose(paper.PhysicistReport, "en", in)
	require.NoError(t, err, "the physicist's own paper needs neither")
}

func TestCalled(t *testing.T) {
	for give, want := range map[string]string{
		"Synthetic^Saltmarsh One": "Saltmarsh One Synthetic", "A^B^C^Dr^MD": "Dr B C A MD", "Only": "Only", "": "", "^^^^": "", "=漢^字=かな^かな": "字 漢", "A^B=漢^字": "B A", " A ^ B ": "B A",
	} {
		assert.Equal(t, want, paper.Called(give), give)
	}
}

// Every place of every body has its words in every language, and so have its distances.
func TestEveryPlaceHasWords(t *testing.T) {
	seen := map[string]bool{}
	for _, years := range []float64{0.5, 5, 15, 60} {
		b, err := body.New(body.Size{AgeYears: quantity.Some(years)}, 20)
		require.NoError(t, err)
		for i := range b.Patches {
			place := skindose.PlaceOf(b, i)
			if seen[place.String()] {
				continue
			}
			seen[place.String()] = true
			in := case1()
			in.Assessment.SkinDose.Peak = place
			for _, language := range paper.Languages().Tags() {
				got := text(t, paper.PatientSheet, language, in)
				require.NotContains(t, got, "[", "%s: %v", language, place)
				for _, said := range []string{place.Side, place.Level} {
					if cm, _, ok := strings.Cut(said, " cm "); ok {
						require.Contains(t, got, cm+" cm", "%s: %v", language, place)
					}
				}
			}
		}
	}
	assert.Greater(t, len(seen), 500, "the bodies were looked at")
}

// The words of the bands are those of the published table.
func TestBandsAreThoseOfTheTable(t *testing.T) {
	en := paper.Languages().In("en")
	for _, b := range level.Bands() {
		for key, want := range map[string]string{"prompt": b.Prompt, "early": b.Early, "midterm": b.Midterm, "long": b.LongTerm} {
			assert.Equal(t, want, en.Text(fmt.Sprintf("band.%s.%s", b.Name, key)), "%s %s", b.Name, key)
		}
	}
	for _, class := range lexicon.Classes() {
		assert.True(t, en.Has("class."+class.ID), class.ID)
	}
}

// The patient's part of the sheet is for a reader of about twelve years: sentences of at most 20 words, most of them shorter.
func TestSheetIsPlain(t *testing.T) {
	d, err := paper.Compose(paper.PatientSheet, "en", case1())
	require.NoError(t, err)
	words, sentences := 0, 0
	for _, b := range d.Blocks {
		p, ok := b.(paper.Paragraph)
		if !ok || p.Style == paper.Small {
			continue
		}
		for sentence := range strings.SplitSeq(strings.TrimRight(p.Lead+" "+p.Text, ". "), ". ") {
			n := len(strings.Fields(sentence))
			assert.LessOrEqual(t, n, 22, sentence)
			words, sentences = words+n, sentences+1
		}
	}
	require.Greater(t, sentences, 10)
	assert.Less(t, float64(words)/float64(sentences), 13.0, "words a sentence")
}

func TestOwnEstimatesStandBesideTheComputedOne(t *testing.T) {
	in := case1()
	in.Own = []ask.Own{{Value: 4.2, Low: 3.1, High: 5.6, Place: "left back", Method: "film", Reason: "table height corrected"}}
	got := text(t, paper.PhysicistReport, "en", in)
	assert.Contains(t, got, "estimated 4.2 Gy, range 3.1 to 5.6 Gy")
	assert.Contains(t, got, "table height corrected")
	assert.Contains(t, got, "estimated 2.96 Gy")
}

func TestOrganDosesStandInThePhysicistsReport(t *testing.T) {
	in := case1()
	assert.Contains(t, text(t, paper.PhysicistReport, "en", in), "Not computed yet when this report was made.")
	in.Organs.Reason = "no event has a geometry"
	assert.Contains(t, text(t, paper.PhysicistReport, "en", in), "no event has a geometry")
	gy := quantity.Some[quantity.Gray]
	in.Organs = paper.Organs{Doses: &organ.Doses{
		Version: "organ/9", Method: "photons", Body: "adult", Caution: organ.Caution,
		Effective: organ.Effective{Value: 0.01234, Low: 0.008, High: 0.019},
		Organs:    []organ.Dose{{Organ: "uterus", Below: gy(0.0000213)}, {Organ: "lungs", Value: gy(0.04567), Low: gy(0.03), High: gy(0.0612)}},
		Parts:     []organ.Part{{What: "statistics", Percent: 0.2}},
	}}
	got := text(t, paper.PhysicistReport, "en", in)
	for _, want := range []string{"by the own beams 12 mSv, range 8.0 mSv to 19 mSv; by coefficients", "46", "30–61", "< 0.021", organ.Caution, organ.UterusCaution, "organ/9: photons, adult"} {
		assert.Contains(t, got, want)
	}
	assert.Less(t, strings.Index(got, "lungs"), strings.Index(got, "uterus"), "the highest first")
	assert.Contains(t, text(t, paper.PhysicistReport, "de", in), "30–61")
	for _, kind := range []paper.Kind{paper.PatientSheet, paper.DoctorLetter} {
		assert.NotContains(t, text(t, kind, "en", in), "lungs", "never as a personal matter")
	}
}
