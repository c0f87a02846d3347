package paper

import "time"

// zone gives the offset of a moment in words, such as " UTC" or " UTC+2".
func zone(t time.Time) string {
	_, offset := t.Zone()
	if offset == 0 {
		return " UTC"
	}
	return t.Format(" UTC-07:00")
}
