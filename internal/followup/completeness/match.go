package completeness

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// matcher holds the groups and cases in an order of their own, and the indexes over them.
type matcher struct {
	rules       Rules
	groups      []*group
	cases       []*candidate
	byStudyUID  map[string][]*candidate
	byOrder     map[string][]*candidate
	ofPatient   map[string][]*candidate // by patient number
	studyGroups map[string]*group
}

func newMatcher(steps []Step, cases []Case, r Rules) *matcher {
	m := &matcher{
		rules: r, byStudyUID: map[string][]*candidate{}, byOrder: map[string][]*candidate{}, ofPatient: map[string][]*candidate{},
		studyGroups: map[string]*group{},
	}
	ordered := slices.Clone(cases)
	slices.SortFunc(ordered, orderCases)
	for _, c := range ordered {
		one := &candidate{Case: c}
		m.cases = append(m.cases, one)
		m.byStudyUID[c.StudyUID] = append(m.byStudyUID[c.StudyUID], one)
		m.byOrder[c.Accession] = append(m.byOrder[c.Accession], one)
		for _, p := range c.Patients {
			if p.Number != "" && !slices.Contains(m.ofPatient[p.Number], one) {
				m.ofPatient[p.Number] = append(m.ofPatient[p.Number], one)
			}
		}
	}
	m.group(steps)
	return m
}

// group joins the steps that tell of one procedure: those of one study, whatever their source, and a step without a study
// with the one study of its order.
func (m *matcher) group(steps []Step) {
	ordered := slices.Clone(steps)
	slices.SortFunc(ordered, orderSteps)
	byOrder := map[string][]*group{}
	for _, s := range ordered {
		if s.StudyUID == "" {
			continue
		}
		g := m.studyGroups[s.StudyUID]
		if g == nil {
			g = &group{}
			m.studyGroups[s.StudyUID] = g
			m.groups = append(m.groups, g)
		}
		g.steps = append(g.steps, s)
		if s.Accession != "" && !slices.Contains(byOrder[s.Accession], g) {
			byOrder[s.Accession] = append(byOrder[s.Accession], g)
		}
	}
	for _, s := range ordered {
		if s.StudyUID != "" {
			continue
		}
		g := joins(byOrder[s.Accession], s)
		if g == nil {
			g = &group{}
			m.groups = append(m.groups, g)
			if s.Accession != "" {
				byOrder[s.Accession] = append(byOrder[s.Accession], g)
			}
		}
		g.steps = append(g.steps, s)
	}
	for _, g := range m.groups {
		slices.SortFunc(g.steps, orderSteps)
	}
	slices.SortFunc(m.groups, func(a, b *group) int { return orderSteps(a.first(), b.first()) })
}

// joins gives the one group of an order that a step without a study belongs to, nil when there is none or several are.
func joins(groups []*group, s Step) *group {
	if len(groups) != 1 || slices.ContainsFunc(groups[0].steps, func(t Step) bool { return !t.Patient.Agrees(s.Patient) }) {
		return nil
	}
	return groups[0]
}

// claim gives a case to a group, and with it every other case of its study that nobody has.
func (m *matcher) claim(g *group, c *candidate, by string) {
	g.by = by
	for _, one := range m.byStudyUID[c.StudyUID] {
		if one == c || (c.StudyUID != "" && one.owner == nil && g.agrees(one) && m.studyGroups[c.StudyUID] == nil) {
			one.owner = g
			g.cases = append(g.cases, one)
		}
	}
}

func (m *matcher) byStudy() {
	for _, g := range m.groups {
		study := g.study()
		if study == "" {
			continue
		}
		for _, c := range m.byStudyUID[study] {
			if c.owner == nil && g.agrees(c) {
				g.by, c.owner, g.cases = ByStudy, g, append(g.cases, c)
			}
		}
	}
}

func (m *matcher) byAccession() {
	var pairs []pair
	for _, g := range m.groups {
		if g.by != "" || g.accession() == "" {
			continue
		}
		for _, c := range m.byOrder[g.accession()] {
			if c.owner == nil && g.agrees(c) {
				pairs = append(pairs, newPair(g, c))
			}
		}
	}
	m.assign(pairs, ByAccession)
}

func (m *matcher) byPatient() {
	var pairs []pair
	for _, g := range m.groups {
		if g.by != "" || g.excluded() {
			continue
		}
		for _, c := range m.near(g) {
			p := newPair(g, c)
			if c.owner == nil && !c.QualityControl && p.known && p.apart <= m.rules.Window && g.place(c) {
				pairs = append(pairs, p)
			}
		}
	}
	m.assign(pairs, ByPatient)
}

// near gives the cases of the patient that a group names.
func (m *matcher) near(g *group) []*candidate {
	var all []*candidate
	for _, s := range g.steps {
		if s.Patient.Number == "" {
			continue
		}
		for _, c := range m.ofPatient[s.Patient.Number] {
			if g.same(c) && !slices.Contains(all, c) {
				all = append(all, c)
			}
		}
	}
	return all
}

// pair is a group and a case that fit.
type pair struct {
	g     *group
	c     *candidate
	apart time.Duration
	known bool
}

func newPair(g *group, c *candidate) pair {
	apart, known := g.distance(c)
	if !known {
		apart = 1<<63 - 1
	}
	return pair{g, c, apart, known}
}

// assign takes the pairs that lie nearest first; neither side of a pair is taken twice.
func (m *matcher) assign(pairs []pair, by string) {
	slices.SortFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(a.apart, b.apart), orderSteps(a.g.first(), b.g.first()), orderCases(a.c.Case, b.c.Case))
	})
	for _, p := range pairs {
		if p.g.by == "" && p.c.owner == nil {
			m.claim(p.g, p.c, by)
		}
	}
}

// list tells what became of every group and which cases nobody has.
func (m *matcher) list() List {
	var l List
	for _, g := range m.groups {
		l.Rows = append(l.Rows, m.row(g))
	}
	for _, c := range m.cases {
		if c.owner == nil && !c.QualityControl {
			l.Unannounced = append(l.Unannounced, c.Case)
		}
	}
	return l
}

func (m *matcher) row(g *group) Row {
	row := Row{Steps: g.steps, By: g.by}
	slices.SortFunc(g.cases, func(a, b *candidate) int { return orderCases(a.Case, b.Case) })
	elsewhere := g.study() != "" && g.by != "" && g.by != ByStudy
	for _, c := range g.cases {
		row.Cases = append(row.Cases, c.ID)
		if elsewhere {
			row.Why = append(row.Why, Candidate{c.ID, "its report is filed under another study; found by " + g.by})
		}
	}
	switch {
	case g.excluded():
		row.Outcome = Excluded
		if g.by != "" {
			row.Why = append(row.Why, Candidate{row.Cases[0], "stated as " + string(g.first().Excluded) + ", and a dose report came all the same"})
		}
	case elsewhere:
		row.Outcome = Elsewhere
	case g.by != "":
		row.Outcome = Reported
	case g.waiting(m.rules):
		row.Outcome = Pending
	default:
		row.Outcome, row.Why = Missing, m.why(g)
	}
	return row
}

const (
	mostWhy = 3              // the candidates that are named
	nearby  = 24 * time.Hour // how far in time one may lie to be named
)

// why says what came near a missing report and why it does not fit.
func (m *matcher) why(g *group) []Candidate {
	var all []Candidate
	say := func(c *candidate, reason string) {
		if !slices.ContainsFunc(all, func(have Candidate) bool { return have.Case == c.ID }) {
			all = append(all, Candidate{c.ID, reason})
		}
	}
	if study := g.study(); study != "" {
		for _, c := range m.byStudyUID[study] {
			say(c, "the report of this study names another patient")
		}
	}
	if order := g.accession(); order != "" {
		for _, c := range m.byOrder[order] {
			if c.owner != nil {
				say(c, "the report with this accession number belongs to another performed procedure")
			} else {
				say(c, "the report with this accession number names another patient")
			}
		}
	}
	pairs := []pair{}
	for _, c := range m.near(g) {
		if p := newPair(g, c); p.known && p.apart <= nearby {
			pairs = append(pairs, p)
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(a.apart, b.apart), orderCases(a.c.Case, b.c.Case))
	})
	for _, p := range pairs {
		say(p.c, m.unfit(p))
	}
	if len(all) == 0 {
		all = []Candidate{{"", nothing(g)}}
	}
	return all[:min(len(all), mostWhy)]
}

func (m *matcher) unfit(p pair) string {
	switch {
	case p.c.owner != nil:
		return "a report of the patient that lies near belongs to another performed procedure"
	case p.c.QualityControl:
		return "the report that lies near is about a test object"
	case p.apart > m.rules.Window:
		return fmt.Sprintf("a report of the patient lies %v away, wanted within %v", p.apart.Round(time.Minute), m.rules.Window)
	case !p.g.place(p.c):
		return "a report of the patient at the time is of another room"
	}
	return "a report of the patient lies near and was taken by nothing"
}

// nothing says what was looked for where nothing came near.
func nothing(g *group) string {
	text := "no report"
	if g.study() != "" {
		text += " of the study"
	}
	if g.accession() != "" {
		text += ", none with the accession number"
	}
	if slices.ContainsFunc(g.steps, func(s Step) bool { return s.Patient.Number != "" }) {
		return text + ", none of the patient within a day"
	}
	return text + "; the patient is not named, so that nothing else could be looked for"
}
