package notice

import (
	"fmt"
	"slices"
	"time"
)

// Policy is what a site, or one person, wants to be told and when.
type Policy struct {
	// From is the lowest rank of notices wanted.
	From Rank
	// Language is a tag such as en.
	Language string
	// QuietFrom and QuietTo are local times of day (15:04) between which only urgent notices go out; "" is no quiet hours.
	QuietFrom, QuietTo string
	// DigestAt is the local time of day at which everything that is not urgent goes out together; "" is each by itself.
	DigestAt string
	// Channels are the names of the channels wanted; nil is every channel that the site has.
	Channels []string
}

// Preferences are what one person has chosen in place of the site's policy; what is nil is the site's.
type Preferences struct {
	From      *string   `json:"from,omitempty"`
	Language  *string   `json:"language,omitempty"`
	QuietFrom *string   `json:"quiet_from,omitempty"`
	QuietTo   *string   `json:"quiet_to,omitempty"`
	DigestAt  *string   `json:"digest_at,omitempty"`
	Channels  *[]string `json:"channels,omitempty"`
	// Mail is the person's mail address, "" for none.
	Mail string `json:"mail,omitempty"`
}

// clock is the form of a time of day.
const clock = "15:04"

// Over gives the policy with a person's choices in it. It fails on a choice that cannot be used, naming it.
func (p Policy) Over(chosen Preferences) (Policy, error) {
	if chosen.From != nil {
		rank, err := RankOf(*chosen.From)
		if err != nil {
			return p, fmt.Errorf("from: %w", err)
		}
		p.From = rank
	}
	for _, one := range []struct {
		to     *string
		chosen *string
	}{{&p.Language, chosen.Language}, {&p.QuietFrom, chosen.QuietFrom}, {&p.QuietTo, chosen.QuietTo}, {&p.DigestAt, chosen.DigestAt}} {
		if one.chosen != nil {
			*one.to = *one.chosen
		}
	}
	if chosen.Channels != nil {
		p.Channels = slices.Clone(*chosen.Channels)
	}
	return p, p.Validate()
}

// Validate tells what cannot be used.
func (p Policy) Validate() error {
	if !Languages().Has(p.Language) {
		return fmt.Errorf("language: wanted one of %v", Languages().Tags())
	}
	if (p.QuietFrom == "") != (p.QuietTo == "") {
		return fmt.Errorf("quiet_from and quiet_to go together")
	}
	for _, text := range []string{p.QuietFrom, p.QuietTo, p.DigestAt} {
		if text == "" {
			continue
		}
		if _, err := time.Parse(clock, text); err != nil {
			return fmt.Errorf("wanted a time of day such as 07:00, got %q", text)
		}
	}
	return nil
}

// Wants tells whether a notice of this rank is wanted.
func (p Policy) Wants(r Rank) bool { return r >= p.From }

// Uses tells whether a channel is wanted.
func (p Policy) Uses(channel string) bool {
	return p.Channels == nil || slices.Contains(p.Channels, channel)
}

// Due gives when a notice that is there now, in the site's zone, is to go out, and whether with others. Urgent ones wait for
// nothing.
func (p Policy) Due(now time.Time, urgent bool) (due time.Time, digest bool) {
	switch {
	case urgent:
		return now, false
	case p.DigestAt != "":
		return next(now, p.DigestAt), true
	case p.QuietFrom != "" && within(now, p.QuietFrom, p.QuietTo):
		return next(now, p.QuietTo), false
	}
	return now, false
}

// within tells whether the time of day lies between two, which may lie around midnight.
func within(now time.Time, from, to string) bool {
	at := now.Format(clock)
	if from <= to {
		return from <= at && at < to
	}
	return at >= from || at < to
}

// next gives the next moment after now at a time of day.
func next(now time.Time, at string) time.Time {
	t, err := time.Parse(clock, at)
	if err != nil {
		return now
	}
	due := time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, now.Location())
	if !due.After(now) {
		due = time.Date(now.Year(), now.Month(), now.Day()+1, t.Hour(), t.Minute(), 0, 0, now.Location())
	}
	return due
}
