package release

import (
	"regexp"
	"strings"
	"time"
)

const (
	dayLayout = "20060102"
	// noDay stands where a day must, that is not the patient's.
	noDay = "19000101"
)

var (
	timePattern   = regexp.MustCompile(`^([01][0-9]|2[0-3])([0-5][0-9]([0-5][0-9]|60)?)?$`)
	offsetPattern = regexp.MustCompile(`^[+-](0[0-9]|1[0-4])[0-5][0-9]$`)
)

// daysBack moves a date (PS3.5 DA, also of the dotted form) back by days. What is no date is "".
func daysBack(date string, days int) string {
	d := strings.TrimSpace(date)
	if len(d) == len("2006.01.02") && d[4] == '.' && d[7] == '.' {
		d = d[:4] + d[5:7] + d[8:]
	}
	t, err := time.Parse(dayLayout, d)
	if err != nil || t.Year() < 1900 {
		return ""
	}
	return t.AddDate(0, 0, -days).Format(dayLayout)
}

// clockTime gives a time of day (PS3.5 TM) as it is, "" when it is none.
func clockTime(s string) string {
	s = strings.TrimSpace(s)
	whole, fraction, dotted := strings.Cut(s, ".")
	if dotted && (len(whole) != 6 || fraction == "" || len(fraction) > 6 || strings.Trim(fraction, "0123456789") != "") {
		return ""
	}
	if !timePattern.MatchString(whole) {
		return ""
	}
	return s
}

// dateTimeBack moves a DT value with at least a day back; time of day and offset from UTC stay, so that intervals do.
func dateTimeBack(s string, days int) string {
	s = strings.TrimSpace(s)
	offset := ""
	if i := strings.IndexAny(s, "+-"); i >= 0 {
		s, offset = s[:i], s[i:]
		if !offsetPattern.MatchString(offset) {
			return ""
		}
	}
	if len(s) < len(dayLayout) {
		return ""
	}
	day, clock := daysBack(s[:8], days), s[8:]
	if day == "" || clock != "" && clockTime(clock) == "" {
		return ""
	}
	return day + clock + offset
}
