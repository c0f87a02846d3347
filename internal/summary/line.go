package summary

import (
	"slices"
	"time"

	"afterbeam/internal/quantity"
)

// lineOf gives a case as lists print it.
func lineOf(c *Case) CaseLine {
	l := CaseLine{
		ID: c.ID, Day: c.Day, Class: classOf(c.Class), Title: titleOf(c.Class), Complexity: c.Complexity, Room: c.Room, Device: c.Device,
		Kerma: plain(c.Kerma), PSD: plain(c.PSD), PSDLow: plain(c.PSDLow), PSDHigh: plain(c.PSDHigh), PSDMethod: c.PSDMethod, PSDNone: c.PSDNone,
		KermaDoubt: c.KermaDoubt, KAPDoubt: c.KAPDoubt, State: c.State, Reached: []string{}, Pregnant: c.Pregnant,
	}
	if kap, ok := c.KAP.Get(); ok {
		l.KAP = quantity.Some(kap.Gycm2())
	}
	if ft, ok := c.FluoroTime.Get(); ok {
		l.Time = quantity.Some(ft.Minutes())
	}
	if e, ok := c.Effective.Get(); ok {
		l.Effective = quantity.Some(e.MSv())
	}
	for _, f := range c.Flags {
		if f.Scope == ScopeCase && f.State == StateReached && f.Meaning == MeaningFollowUp {
			l.Reached = append(l.Reached, f.Scheme+"/"+f.Level)
		}
	}
	slices.Sort(l.Reached)
	return l
}

func plain[T ~float64](v quantity.Opt[T]) quantity.Opt[float64] {
	value, ok := v.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(float64(value))
}

// linesOf gives the cases that a condition holds for, in order.
func linesOf(cases []*Case, holds func(*Case) bool) []CaseLine {
	out := []CaseLine{}
	for _, c := range cases {
		if holds(c) {
			out = append(out, lineOf(c))
		}
	}
	return out
}

// daysBetween counts the days from one local date to another; ok is false where one is no date.
func daysBetween(from, to string) (days int, ok bool) {
	a, err := time.Parse(time.DateOnly, from)
	if err != nil {
		return 0, false
	}
	b, err := time.Parse(time.DateOnly, to)
	if err != nil {
		return 0, false
	}
	return int(b.Sub(a).Hours() / 24), true
}
