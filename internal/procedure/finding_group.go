package procedure

import "slices"

// FindingGroup is a finding with how many places say the same; Place is the first.
type FindingGroup struct {
	Finding
	Places int
}

// GroupFindings joins findings that differ in their place alone, the gravest first.
func GroupFindings(all []Finding) []FindingGroup {
	var groups []FindingGroup
	for _, f := range all {
		at := slices.IndexFunc(groups, func(g FindingGroup) bool { return g.Rule == f.Rule && g.Severity == f.Severity && g.Text == f.Text })
		if at < 0 {
			groups = append(groups, FindingGroup{f, 1})
			continue
		}
		groups[at].Places++
	}
	slices.SortStableFunc(groups, func(a, b FindingGroup) int { return int(b.Severity) - int(a.Severity) })
	return groups
}
