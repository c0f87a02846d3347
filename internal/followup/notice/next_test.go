package notice_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/quantity"
)

func content(state, flag string, levels ...notice.Level) notice.Content {
	return notice.Content{State: state, Flag: flag, Levels: levels}
}

func reached(id string, rank notice.Rank) notice.Level {
	return notice.Level{Scheme: "s", ID: id, State: "reached", Rank: rank}
}

func TestNext(t *testing.T) {
	none := quantity.None[notice.Content]()
	told := quantity.Some[notice.Content]
	follow, note := reached("kar", notice.FollowUp), reached("notify", notice.Notification)
	window := follow
	window.Days, window.Procedures = 60, 2
	near := follow
	near.State = "near"
	tests := map[string]struct {
		told   quantity.Opt[notice.Content]
		now    notice.Content
		want   notice.Kind // "" for nothing
		rank   notice.Rank
		urgent bool
		gone   int
	}{
		"a complete case below":                   {none, content("complete", "below"), notice.First, notice.EveryCase, false, 0},
		"unknown is not below":                    {none, content("complete", "unknown"), notice.First, notice.Notification, false, 0},
		"near is shown and no more":               {none, content("complete", "near", near), notice.First, notice.EveryCase, false, 0},
		"a notification":                          {none, content("complete", "reached", note), notice.First, notice.Notification, false, 0},
		"a follow-up level at once":               {none, content("provisional", "reached", follow), notice.First, notice.FollowUp, true, 0},
		"provisional below waits":                 {none, content("provisional", "below"), "", 0, false, 0},
		"provisional with a notification waits":   {none, content("provisional", "reached", note), "", 0, false, 0},
		"a test object is never told":             {none, content("complete", "none"), "", 0, false, 0},
		"the same again":                          {told(content("complete", "reached", follow)), content("complete", "reached", follow), "", 0, false, 0},
		"other numbers, same levels":              {told(content("complete", "below")), content("amended", "below"), "", 0, false, 0},
		"complete after provisional":              {told(content("provisional", "reached", follow)), content("complete", "reached", follow), notice.Complete, notice.FollowUp, false, 0},
		"a flag is gone":                          {told(content("complete", "reached", follow)), content("amended", "below"), notice.Amend, notice.FollowUp, false, 1},
		"a flag is new":                           {told(content("complete", "reached", note)), content("amended", "reached", note, follow), notice.Amend, notice.FollowUp, true, 0},
		"reached by a sum alone":                  {told(content("complete", "below")), content("complete", "reached", window), notice.Amend, notice.FollowUp, true, 0},
		"reached by the sum, no longer by itself": {told(content("complete", "reached", follow)), content("amended", "reached", window), notice.Amend, notice.FollowUp, true, 1},
		"from reached to near is gone":            {told(content("complete", "reached", follow)), content("amended", "near", near), notice.Amend, notice.FollowUp, false, 1},
		"from reached to unknown is gone":         {told(content("complete", "reached", follow)), content("amended", "unknown"), notice.Amend, notice.FollowUp, false, 1},
		"two of a flag gone and new":              {told(content("complete", "reached", note)), content("amended", "reached", follow), notice.Amend, notice.FollowUp, true, 1},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, ok := notice.Next(tt.told, tt.now, "1 new report")
			assert.Equal(t, tt.want != "", ok)
			if !ok {
				return
			}
			assert.Equal(t, tt.want, got.Kind)
			assert.Equal(t, tt.rank, got.Rank)
			assert.Equal(t, tt.urgent, got.Urgent)
			if tt.want == notice.Amend {
				assert.Len(t, got.Content.Amended.Gone, tt.gone)
				assert.Equal(t, "1 new report", got.Content.Amended.Why)
			}
		})
	}
}

// A back-fill of old cases tells nobody; what comes by itself is told however late it is.
func TestLate(t *testing.T) {
	now := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	assert.True(t, notice.Late("2026-08-01", now, 30, true))
	assert.False(t, notice.Late("2026-09-01", now, 30, true))
	assert.False(t, notice.Late("2020-09-01", now, 30, false))
	assert.False(t, notice.Late("", now, 30, true), "a case without a date is told")
}

func TestPolicy(t *testing.T) {
	at := func(hour, minute int) time.Time { return time.Date(2026, 9, 14, hour, minute, 0, 0, time.UTC) }
	night := notice.Policy{Language: "en", QuietFrom: "22:00", QuietTo: "06:30"}
	day := notice.Policy{Language: "en", QuietFrom: "08:00", QuietTo: "16:00"}
	daily := notice.Policy{Language: "en", QuietFrom: "22:00", QuietTo: "06:30", DigestAt: "07:00"}
	tests := map[string]struct {
		policy notice.Policy
		now    time.Time
		urgent bool
		want   time.Time
		digest bool
	}{
		"nothing set":                   {notice.Policy{}, at(3, 0), false, at(3, 0), false},
		"before the night":              {night, at(21, 59), false, at(21, 59), false},
		"at its beginning":              {night, at(22, 0), false, at(30, 30), false},
		"after midnight":                {night, at(6, 29), false, at(6, 30), false},
		"at its end":                    {night, at(6, 30), false, at(6, 30), false},
		"urgent in the night":           {night, at(3, 0), true, at(3, 0), false},
		"quiet by day":                  {day, at(12, 0), false, at(16, 0), false},
		"digest today":                  {daily, at(3, 0), false, at(7, 0), true},
		"digest at just that time":      {daily, at(7, 0), false, at(31, 0), true},
		"urgent waits for no digest":    {daily, at(12, 0), true, at(12, 0), false},
		"not urgent waits for the next": {daily, at(12, 0), false, at(31, 0), true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			due, digest := tt.policy.Due(tt.now, tt.urgent)
			assert.Equal(t, tt.want, due)
			assert.Equal(t, tt.digest, digest)
		})
	}
	rank, language := "follow-up", "xx"
	chosen, err := night.Over(notice.Preferences{From: &rank})
	assert.NoError(t, err)
	assert.True(t, chosen.Wants(notice.FollowUp))
	assert.False(t, chosen.Wants(notice.Notification))
	_, err = night.Over(notice.Preferences{Language: &language})
	assert.Error(t, err)
}
