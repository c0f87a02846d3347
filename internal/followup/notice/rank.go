package notice

import (
	"fmt"

	"afterbeam/internal/followup/level"
)

// Rank is how much a notice matters: which level the case has reached.
type Rank uint8

// The ranks. A notice of rank FollowUp goes out at once, whatever the hour.
const (
	EveryCase    Rank = iota // no level is reached
	Notification             // a level that only tells is reached
	FollowUp                 // a level that asks for more than that is reached
)

// String names the rank as the settings do.
func (r Rank) String() string {
	switch r {
	case EveryCase:
		return "every"
	case Notification:
		return "notification"
	case FollowUp:
	}
	return "follow-up"
}

// MarshalText writes the rank's name.
func (r Rank) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads the rank's name.
func (r *Rank) UnmarshalText(text []byte) (err error) {
	*r, err = RankOf(string(text))
	return err
}

// RankOf reads the name of a rank.
func RankOf(name string) (Rank, error) {
	for r := EveryCase; r <= FollowUp; r++ {
		if r.String() == name {
			return r, nil
		}
	}
	return 0, fmt.Errorf("wanted every, notification or follow-up, got %q", name)
}

// rankOf gives the rank of a level by what reaching it prompts. What a site has named in words of its own counts as asking for
// more than being told.
func rankOf(row level.Row) Rank {
	switch row.Meaning {
	case "notification", "record", "report":
		return Notification
	}
	return FollowUp
}
