package demo

import (
	"encoding/csv"
	"math"
	"strings"
	"time"
)

// YearCase is a case of the centre's year.
type YearCase struct {
	Case
	// Start is the first pulse.
	Start time.Time
	// Sent is false for a case that was performed and whose report never came.
	Sent bool

	// Class is the row of year.csv that the case was drawn from.
	Class string

	scene     scene
	reactions map[string]float64 // what is seen of the skin, by slot of the ask
}

// yearOrigin starts the chance of the year; the streams of its cases follow those of the scenario.
const (
	yearPlan   = 5176
	yearStream = 10_000
)

// Year gives the centre's year, from YearFrom to YearTo, in order of time. It is some nine hundred cases with few events each;
// every dose, patient and person is invented, spread as year.csv says. Each call makes it anew, bit for bit the same.
func Year() []YearCase {
	rng := chance(yearPlan)
	var all []YearCase
	w := ward{known: map[string][]seen{}}
	for i, v := range visits(rng) {
		t := turnOf(v)
		t.push(&v)
		d := v.doses(rng)
		t.dose(&d)
		s := v.scene(i+1, w.admit(v, rng), d)
		r := s.fitted(yearStream+uint64(i), d.kap)
		calibrate(&r, v.start)
		c := YearCase{Start: v.start, Sent: true, Class: v.kind.class, scene: s, reactions: t.reactions}
		if t.class == "" {
			f := flawOf(i + 1)
			c.Sent = f != neverSent
			f.spoil(&r)
			if f == withoutOperator {
				c.scene.operators = nil // nor does another record know
			}
		}
		if t.pregnant {
			r.Patient.Pregnancy, r.Patient.Sex = 3, "F"
		}
		c.Case = Case{File: s.file, Title: s.title, Report: r}
		all = append(all, c)
	}
	return all
}

// turn is a case that the scenario wants to have happened: the first of its class in a month.
type turn struct {
	month, class string
	doses        doses // 0 is what was drawn
	pregnant     bool
	reactions    map[string]float64
}

// turns lists them. Everything in it is invented.
func turns() []turn {
	return []turn{
		{month: "2026-03", class: "occlusion", doses: doses{8.6, 447, 96}, reactions: map[string]float64{"early": 1, "month": 2}},
		{month: "2026-06", class: "branched", doses: doses{9.7, 1010, 131}, reactions: map[string]float64{"early": 1, "month": 1}},
		{month: "2026-02", class: "branched", doses: doses{5.4, 590, 88}},
		{month: "2026-05", class: "coiling", doses: doses{5.2, 318, 74}},
		{month: "2026-08", class: "valve", doses: doses{5.1, 540, 64}},
		{month: "2026-09", class: "branched", doses: doses{6.3, 702, 92}},
		{month: "2026-10", class: "occlusion", doses: doses{5.7, 301, 81}},
		{month: "2026-10", class: "coiling", pregnant: true, doses: doses{0.21, 31, 12}},
	}
}

func turnOf(v visit) turn {
	for _, t := range turns() {
		if v.rank == 0 && t.class == v.kind.class && strings.HasPrefix(v.day(), t.month) {
			return t
		}
	}
	return turn{}
}

// push makes a high case a long one.
func (t turn) push(v *visit) {
	if t.doses.minutes > 0 {
		v.minutes = max(v.minutes, math.Round(2.6*t.doses.minutes))
	}
}

func (t turn) dose(d *doses) {
	if t.doses != (doses{}) {
		*d = t.doses
	}
}

// YearPerformed is the centre's table of what was performed in its year: every case, also those whose report never came, and some
// that were cancelled.
func YearPerformed(cases []YearCase) string {
	rows := [][]string{performedColumns()}
	for i, c := range cases {
		row := c.scene.performed()
		rows = append(rows, row)
		if i%113 == 70 { // planned for the next day and called off
			never := c.scene
			never.file, never.accession, never.start = never.file+" again", never.accession+"X", never.start.AddDate(0, 0, 1)
			off := never.performed()
			off[2] = "cancelled"
			rows = append(rows, off)
		}
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	_ = w.WriteAll(rows) // a strings.Builder takes everything
	return b.String()
}
