package notice_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/golden"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// second is a second stage that reaches a level by accumulated skin, with invented numbers.
func second() notice.Content {
	some := quantity.Some[float64]
	psd := notice.Level{
		Scheme: "ncrp168", Title: "NCRP 168 substantial levels", ID: "psd", Meaning: "follow-up", Quantity: "psd", State: "reached", Basis: "estimated",
		Shown: "4.13 Gy", ShownLevel: "3.00 Gy", Procedures: 2, Days: 60, Rank: notice.FollowUp,
	}
	notify := notice.Level{
		Scheme: "mppg12a", Title: "AAPM MPPG 12.a", ID: "notify", Meaning: "notification", Quantity: "kar", State: "reached", Basis: "reported",
		Shown: "4.20 Gy", ShownLevel: "3.00 Gy", ShownStep: "4.00 Gy", Rank: notice.Notification,
	}
	place := skindose.Place{Region: "left middle back", Side: "8 cm left of the posterior midline along the skin", Level: "34 cm above the trunk base"}
	return notice.Content{
		Room: "Hybrid 1", Date: "2026-10-27", Time: "08:47", Class: "aortic_complex", ClassTitle: "branched or fenestrated aortic repair", State: "amended",
		Kerma: notice.Figure{Value: some(4.204), Unit: "Gy", Shown: "4.20 Gy"}, KAP: notice.Figure{Unit: "Gy cm2", Shown: "312 Gy cm2", AtLeast: true, Missing: []string{"plane B"}},
		Fluoro: notice.Figure{Unit: "min", Missing: []string{}},
		Skin:   notice.Spread{Value: some(2.1), Unit: "Gy", Shown: [3]string{"2.1", "1.4", "3.2"}, Method: "map"},
		Whole:  notice.Spread{Unit: "mSv", Reason: "less than 80 % of the kerma-area product has a coefficient"},
		Place:  place, Picture: true, Flag: "reached", Levels: []notice.Level{notify, psd},
		Earlier: &notice.Earlier{
			Days: 60, Procedures: 1, Kerma: notice.Figure{Shown: "8.43 Gy"}, KAP: notice.Figure{Shown: "790 Gy cm2", AtLeast: true}, Mapped: true, Place: place,
			Skin: notice.Spread{Value: some(4.13), Unit: "Gy", Shown: [3]string{"4.1", "2.7", "6.2"}, Method: "map"}, OwnShown: "2.1 Gy",
		},
		Asks: []ask.Ask{
			{Kind: ask.Record, Owner: ask.Operator, Due: "2026-10-27"},
			{Kind: ask.EarlyCheck, Owner: ask.Operator, From: "2026-11-06", Due: "2026-11-10"},
			{Kind: ask.Review, Owner: ask.Physicist, Due: "2026-10-29"},
		},
		Assumptions: []string{"table as a default", "two", "three", "four", "five", "six", "seven"},
		Amended: &notice.Amended{
			New: []notice.Level{psd}, Why: "1 new report",
			Gone: []notice.Level{{
				Title: "NCRP 168 substantial levels", Meaning: "follow-up", Quantity: "kar", Basis: "reported times a signed factor", Shown: "5.02 Gy", ShownLevel: "5.00 Gy",
			}},
		},
	}
}

func letters() map[string]notice.Letter {
	item := notice.Item{Reference: "abcdefghijklmnopqrstuvwx", Kind: notice.Amend, Urgent: true, Content: second(), Link: "https://afterbeam.example.org/cases/abcdefghijklmnopqrstuvwx"}
	plain := notice.Item{Reference: "bbcdefghijklmnopqrstuvwx", Kind: notice.First, Content: notice.Content{
		Room: "Cath 2", Date: "", State: "complete", Totals: true, Class: "unclassified", Flag: "unknown", Reasons: []string{"neither peak skin dose nor Ka,r nor KAP is known"},
		Skin: notice.Spread{Reason: "no dose is reported"}, Whole: notice.Spread{Reason: "no kerma-area product"},
	}}
	alarm := notice.Item{Reference: "cbcdefghijklmnopqrstuvwx", Kind: notice.Broken, Urgent: true, Content: notice.Content{
		Alarm: &notice.Alarm{Channel: "mail", Since: "2026-10-27T10:00:00Z", Waiting: 3, Why: "mail: no connection to the server"},
	}}
	return map[string]notice.Letter{
		"amended": {Items: []notice.Item{item}, Repeat: true}, "unknown": {Items: []notice.Item{plain}}, "digest": {Items: []notice.Item{plain, item}},
		"bare": {Items: []notice.Item{item}, Bare: true}, "alarm": {Items: []notice.Item{alarm}},
	}
}

func TestRender(t *testing.T) {
	unfilled := regexp.MustCompile(`\[[a-z.-]+\]|\{[a-z_]+\}`)
	for name, letter := range letters() {
		for _, language := range notice.Languages().Tags() {
			t.Run(name+" "+language, func(t *testing.T) {
				subject, text := notice.Render(letter, language)
				golden.Check(t, fmt.Sprintf("testdata/%s.%s.txt", name, language), []byte("Subject: "+subject+"\n\n"+text))
				assert.Empty(t, unfilled.FindAllString(subject+text, -1))
				for line := range strings.Lines(text) {
					assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, "\n")), 85, line) // a link is not broken
				}
			})
		}
	}
}

// What a list of messages shows of a mail - its subject and its first words - tells nothing of the case.
func TestPreview(t *testing.T) {
	for name, letter := range letters() {
		for _, language := range notice.Languages().Tags() {
			subject, text := notice.Render(letter, language)
			preview := subject + string([]rune(text)[:140])
			for _, telling := range []string{"Gy", "Hybrid", "Cath", "aort", "skin dose", "Hautdosis"} {
				assert.NotContains(t, preview, telling, "%s in %s", name, language)
			}
		}
	}
}

// Every place of the body has words in each language.
func TestPlacesHaveWords(t *testing.T) {
	de := notice.Languages().In("de")
	for _, key := range notice.Languages().In("en").Keys() {
		if strings.HasPrefix(key, "region.") {
			assert.NotEqual(t, notice.Languages().In("en").Text(key), de.Text(key), key)
		}
	}
}
