package rdsr

import (
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/procedure"
)

// clock turns the report's dates and times into Moments. Where a value has no offset from UTC, the data set's offset
// (0008,0201) stands in, then the device's zone, then the site's.
type clock struct {
	dataSet      *time.Location
	device, site *time.Location
}

func (c clock) zone() (*time.Location, procedure.OffsetSource) {
	switch {
	case c.dataSet != nil:
		return c.dataSet, procedure.OffsetOfDataSet
	case c.device != nil:
		return c.device, procedure.OffsetOfDevice
	case c.site != nil:
		return c.site, procedure.OffsetOfSite
	}
	return time.UTC, procedure.OffsetUnknown
}

// offset reads an offset from UTC such as +0100 (PS3.5 DT: -1200 to +1400).
func offset(text string) (*time.Location, bool) {
	s := strings.TrimSpace(text)
	if len(s) != 5 || (s[0] != '+' && s[0] != '-') || !digits(s[1:]) {
		return nil, false
	}
	hours, _ := strconv.Atoi(s[1:3])
	minutes, _ := strconv.Atoi(s[3:5])
	seconds := (hours*60 + minutes) * 60
	if s[0] == '-' {
		seconds = -seconds
	}
	if minutes > 59 || seconds < -12*3600 || seconds > 14*3600 {
		return nil, false
	}
	return time.FixedZone("", seconds), true
}

// dateTime reads a DT value: a date, with or without a time of day, fraction and offset. A year or month alone is
// refused: it has no day.
func (c clock) dateTime(text string) (procedure.Moment, bool) {
	s := strings.TrimSpace(text)
	zone, source := c.zone()
	if i := strings.IndexAny(s, "+-"); i >= 0 {
		own, ok := offset(s[i:])
		if !ok {
			return procedure.Moment{}, false
		}
		zone, source, s = own, procedure.OffsetInValue, s[:i]
	}
	if len(s) < 8 || !digits(s[:8]) {
		return procedure.Moment{}, false
	}
	return moment(s[:8], s[8:], zone, source)
}

// dateAndTime reads a DA and a TM value that belong together.
func (c clock) dateAndTime(date, timeOfDay string) (procedure.Moment, bool) {
	zone, source := c.zone()
	// The dotted form stood in the standard before DICOM 3.0 and is still met (PS3.5 DA).
	day := strings.ReplaceAll(strings.TrimSpace(date), ".", "")
	return moment(day, strings.ReplaceAll(strings.TrimSpace(timeOfDay), ":", ""), zone, source)
}

func moment(day, timeOfDay string, zone *time.Location, source procedure.OffsetSource) (procedure.Moment, bool) {
	date, err := time.ParseInLocation("20060102", day, zone)
	if err != nil || date.Year() < 1900 {
		return procedure.Moment{}, false
	}
	if timeOfDay == "" {
		return procedure.Moment{Time: date, Offset: source, DateOnly: true}, true
	}
	hour, minute, second, nanos, ok := clockTime(timeOfDay)
	if !ok {
		return procedure.Moment{}, false
	}
	t := time.Date(date.Year(), date.Month(), date.Day(), hour, minute, second, nanos, zone)
	return procedure.Moment{Time: t, Offset: source}, true
}

// clockDoubt tells of a time of day without an offset that the zone's clocks skipped or showed twice, and which one is taken.
func clockDoubt(m procedure.Moment, text string) string {
	text = strings.TrimSpace(text)
	if m.DateOnly || m.Offset == procedure.OffsetInValue || len(text) < 10 || strings.HasPrefix(text[min(12, len(text)):], "60") {
		return ""
	}
	taken := "taken as " + m.Time.Format("15:04 -0700")
	if m.Time.Format("2006010215") != text[:10] {
		return "the clocks of the zone skipped this time of day; " + taken
	}
	for _, shift := range []time.Duration{-time.Hour, time.Hour} {
		if m.Time.Add(shift).Format("2006010215") == text[:10] {
			return "the clocks of the zone showed this time of day twice; " + taken
		}
	}
	return ""
}

// clockTime reads HH, HHMM, HHMMSS and HHMMSS.FFFFFF. Second 60 is a leap second and runs into the next minute.
func clockTime(s string) (hour, minute, second, nanos int, ok bool) {
	whole, fraction, dotted := strings.Cut(s, ".")
	if dotted {
		if len(whole) != 6 || fraction == "" || len(fraction) > 6 || !digits(fraction) {
			return 0, 0, 0, 0, false
		}
		micros, _ := strconv.Atoi((fraction + "000000")[:6])
		nanos = micros * 1000
	}
	if len(whole)%2 != 0 || len(whole) > 6 || whole == "" || !digits(whole) {
		return 0, 0, 0, 0, false
	}
	parts := [3]int{}
	for i := 0; i*2 < len(whole); i++ {
		parts[i], _ = strconv.Atoi(whole[2*i : 2*i+2])
	}
	ok = parts[0] < 24 && parts[1] < 60 && parts[2] <= 60
	return parts[0], parts[1], parts[2], nanos, ok
}

func digits(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }
