package summary

import (
	"slices"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/statistic"
	"afterbeam/internal/summary/trend"
)

// Leaving gives the form of a summary for readers outside of the department: nothing of single cases, and nothing of groups
// below five. Where one group of a parting is withheld alone, the next smallest goes with it, since the rest of the total
// would tell it. The text of actions stays as people wrote it. The summary itself is not changed.
func Leaving(s Summary) Summary {
	s.Leaving = true
	s.Counts = leavingCounts(s.Counts)
	s.Completeness = leavingCompleteness(s.Completeness)
	s.Volume = leavingVolume(s.Volume, s.OperatorNames)
	s.Classes = leavingClasses(s.Classes, s.OperatorNames)
	s.Crossings = slices.Clone(s.Crossings)
	for i := range s.Crossings {
		c := &s.Crossings[i]
		c.Cases = leavingShare(c.Cases)
		if c.Cases.Withheld != "" {
			c.Per100 = quantity.None[float64]()
		}
	}
	s.Substantial.Rate, s.Substantial.Cases = leavingShare(s.Substantial.Rate), []CaseLine{}
	s.FollowUp = leavingFollowUp(s.FollowUp)
	s.Reactions = Reactions{Looked: leavingShare(s.Reactions.Looked), Seen: leavingShare(s.Reactions.Seen), Rows: []ReactionLine{}}
	s.Review.Rows = []ReviewLine{}
	s.Cumulative = slices.Clone(s.Cumulative)
	for i := range s.Cumulative {
		c := &s.Cumulative[i]
		c.Cases = []string{}
		if c.Patients < statistic.LeastLeaving {
			c.Patients, c.Largest, c.Withheld = 0, quantity.None[float64](), withheldSmall
		}
	}
	s.Estimates.PSD, s.Estimates.Effective = leavingShare(s.Estimates.PSD), leavingShare(s.Estimates.Effective)
	s.Apart.Children, s.Apart.Pregnant, s.Apart.ByWeight = []CaseLine{}, []CaseLine{}, slices.Clone(s.Apart.ByWeight)
	for i := range s.Apart.ByWeight {
		b := &s.Apart.ByWeight[i]
		b.Group = leavingGroup(b.Group, b.Group.Cases < statistic.LeastLeaving)
	}
	s.Charts = leavingCharts(s.Charts)
	return s
}

// small marks the groups to withhold by their numbers of cases: those of 1 to 4, and where that is one alone, the smallest
// of the others.
func small(sizes []int) []bool {
	out := make([]bool, len(sizes))
	marked := 0
	for i, n := range sizes {
		if n > 0 && n < statistic.LeastLeaving {
			out[i] = true
			marked++
		}
	}
	if marked != 1 {
		return out
	}
	next := -1
	for i, n := range sizes {
		if !out[i] && n > 0 && (next < 0 || n < sizes[next]) {
			next = i
		}
	}
	if next >= 0 {
		out[next] = true
	}
	return out
}

func leavingShare(p Proportion) Proportion {
	if p.N > 0 && p.N < statistic.LeastLeaving {
		return Proportion{Withheld: withheldSmall}
	}
	if p.Change != nil && p.Change.NBefore < statistic.LeastLeaving {
		p.Change = nil
	}
	return p
}

func leavingShareOf(p *Proportion) *Proportion {
	if p == nil {
		return nil
	}
	left := leavingShare(*p)
	return &left
}

func leavingCounts(c Counts) Counts {
	isSmall := func(n int) bool { return n > 0 && n < statistic.LeastLeaving }
	c.Withheld = []string{}
	if isSmall(c.Children) || isSmall(c.Pregnant) {
		c.Children, c.Pregnant, c.Withheld = 0, 0, append(c.Withheld, "children", "pregnant")
	}
	if isSmall(c.Patients) {
		c.Patients, c.Withheld = 0, append(c.Withheld, "patients")
	}
	return c
}

func leavingCompleteness(c Completeness) Completeness {
	c.Records, c.Arrival = leavingShare(c.Records), leavingShareOf(c.Arrival)
	c.Quantities, c.ByRoom = slices.Clone(c.Quantities), slices.Clone(c.ByRoom)
	for i := range c.Quantities {
		c.Quantities[i].Known = leavingShare(c.Quantities[i].Known)
	}
	for i := range c.ByRoom {
		c.ByRoom[i].Records, c.ByRoom[i].Arrival = leavingShare(c.ByRoom[i].Records), leavingShareOf(c.ByRoom[i].Arrival)
	}
	return c
}

func leavingVolume(all []Volume, names bool) []Volume {
	out := []Volume{}
	for from := 0; from < len(all); {
		to := from
		for to < len(all) && all[to].By == all[from].By {
			to++
		}
		part := slices.Clone(all[from:to])
		from = to
		if names && part[0].By == byOperator {
			continue
		}
		now, before := make([]int, len(part)), make([]int, len(part))
		for i, v := range part {
			now[i], before[i] = v.Cases, v.Before
		}
		nowSmall, beforeSmall := small(now), small(before)
		for i := range part {
			if nowSmall[i] || beforeSmall[i] {
				part[i].Cases, part[i].Before, part[i].Share, part[i].Withheld = 0, 0, quantity.None[float64](), withheldSmall
			}
		}
		out = append(out, part...)
	}
	return out
}

func leavingClasses(all []Class, names bool) []Class {
	sizes := make([]int, len(all))
	for i, c := range all {
		sizes[i] = c.All.Cases
	}
	hidden := small(sizes)
	out := []Class{}
	for i, c := range all {
		c.All = leavingGroup(c.All, hidden[i])
		parts := c.Parts
		c.Parts = []Part{}
		if hidden[i] {
			c.Positions, c.Distributions, c.Year, parts = []Position{}, []Distribution{}, nil, nil
		}
		for _, p := range parts {
			if names && p.By == byOperator {
				continue
			}
			c.Parts = append(c.Parts, leavingPart(p))
		}
		out = append(out, c)
	}
	return out
}

func leavingPart(p Part) Part {
	p.Groups = slices.Clone(p.Groups)
	sizes := make([]int, len(p.Groups))
	for i, g := range p.Groups {
		sizes[i] = g.Cases
	}
	for i, hide := range small(sizes) {
		p.Groups[i] = leavingGroup(p.Groups[i], hide)
	}
	return p
}

// leavingGroup takes single cases out of a group: their list, and the least and greatest value.
func leavingGroup(g Group, hide bool) Group {
	g.List = []CaseLine{}
	if hide {
		g.Cases, g.Show, g.Statistics, g.Substantial = 0, statistic.ShowNothing, []Statistic{}, nil
		g.Withheld = []Withheld{{What: "statistics", Reason: withheldSmall, Need: statistic.LeastLeaving}}
		return g
	}
	g.Substantial = leavingShareOf(g.Substantial)
	g.Statistics = slices.Clone(g.Statistics)
	for i := range g.Statistics {
		s := &g.Statistics[i]
		s.Min, s.Max = quantity.None[float64](), quantity.None[float64]()
		s.Withheld = append(slices.Clone(s.Withheld), Withheld{What: "range", Reason: "single-cases"})
	}
	return g
}

func leavingFollowUp(f FollowUp) FollowUp {
	f.Informed, f.Contacted, f.Outcome, f.Open = leavingShare(f.Informed), leavingShare(f.Contacted), leavingShare(f.Outcome), []AskLine{}
	f.Kinds = slices.DeleteFunc(slices.Clone(f.Kinds), func(k AskKind) bool { return k.Total < statistic.LeastLeaving })
	for i := range f.Kinds {
		f.Kinds[i].Answered = leavingShare(f.Kinds[i].Answered)
	}
	return f
}

// leavingCharts keeps limits and signals; of points only months with enough cases stay.
func leavingCharts(all []trend.Chart) []trend.Chart {
	out := []trend.Chart{}
	for _, c := range all {
		points := []trend.Point{}
		for _, p := range c.Points {
			if c.Kind == trend.Share && p.N >= statistic.LeastLeaving {
				points = append(points, p)
			}
		}
		c.Earlier += len(c.Points) - len(points)
		c.Points = points
		out = append(out, c)
	}
	return out
}
