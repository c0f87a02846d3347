package release

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"time"

	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

// oldest is the highest age that is told: 90 stands for 90 and more. Source: 45 CFR 164.514(b)(2)(i)(C), ages over 89 as one
// category; how known: from memory.
const oldest = 90

// Heights and weights outside these bounds are given the bound when BoundSizes is chosen; below only for grown-ups, since a
// child is small. Judgement: about the outermost hundredth of people.
const (
	shortest, tallest = 1.45, 2.0 // m
	lightest, weighty = 40, 150   // kg
	grownUp           = 18        // years
)

var agePattern = regexp.MustCompile(`^[0-9]{3}[DWMY]$`)

// characteristics makes sex, age, size, weight and pregnancy, by option.
func (w *work) characteristics() dicomio.DataSet {
	if !w.o.Characteristics {
		return dicomio.DataSet{element(tagSex, "CS", "")}
	}
	set := dicomio.DataSet{element(tagSex, "CS", oneOf(trimmed(w.in, tagSex), "M", "F", "O", ""))}
	age := w.age()
	for _, e := range []dicomio.Element{
		element(tagAge, "AS", age),
		element(tagHeight, "DS", w.size(tagHeight, age, shortest, tallest)),
		element(tagWeight, "DS", w.size(tagWeight, age, lightest, weighty)),
		element(tagPregnancy, "US", oneOf(trimmed(w.in, tagPregnancy), "1", "2", "3", "4", "")),
	} {
		if len(e.Values) > 0 {
			set = append(set, e)
		}
	}
	return set
}

// age gives the age that the report says, else that of the birth date on the day of the study or of the content.
func (w *work) age() string {
	said := trimmed(w.in, tagAge)
	if !agePattern.MatchString(said) {
		said = ageOn(trimmed(w.in, tagBirthDate), trimmed(w.in, tagStudyDate), trimmed(w.in, tagContentDate))
	}
	if years, ok := yearsOf(said); ok && years >= oldest {
		return fmt.Sprintf("%03dY", oldest)
	}
	return said
}

func ageOn(birth string, days ...string) string {
	born, err := time.Parse(dayLayout, birth)
	if err != nil {
		return ""
	}
	for _, day := range days {
		on, err := time.Parse(dayLayout, day)
		if err != nil || on.Before(born) {
			continue
		}
		months := (on.Year()-born.Year())*12 + int(on.Month()) - int(born.Month())
		if on.Day() < born.Day() {
			months--
		}
		if months < 24 {
			return fmt.Sprintf("%03dM", months)
		}
		return fmt.Sprintf("%03dY", min(months/12, 999))
	}
	return ""
}

// yearsOf reads an age (PS3.5 AS).
func yearsOf(age string) (float64, bool) {
	if !agePattern.MatchString(age) {
		return 0, false
	}
	n, err := strconv.Atoi(age[:3])
	if err != nil {
		return 0, false
	}
	perYear := map[byte]float64{'D': 365.25, 'W': 365.25 / 7, 'M': 12, 'Y': 1}[age[3]]
	return float64(n) / perYear, true
}

// size gives a height or weight as the report says it, bounded by option; "" when it is no positive number.
func (w *work) size(tag dicomio.Tag, age string, low, high float64) string {
	text := trimmed(w.in, tag)
	v, err := strconv.ParseFloat(text, 64)
	if !isNumber(text) || err != nil || v <= 0 {
		return ""
	}
	if !w.o.BoundSizes {
		return text
	}
	years := quantity.None[float64]()
	if y, ok := yearsOf(age); ok {
		years = quantity.Some(y)
	}
	bounded := bound(v, years, low, high)
	if bounded == v {
		return text
	}
	return strconv.FormatFloat(bounded, 'f', -1, 64)
}

// bound gives a size that lies far from most people's the bound.
func bound(v float64, age quantity.Opt[float64], low, high float64) float64 {
	v = math.Min(v, high)
	if age.Or(0) >= grownUp {
		v = math.Max(v, low)
	}
	return v
}
