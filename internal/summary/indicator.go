package summary

// indicators says of Q1 to Q15 where each stands, and of those that cannot be given why.
func indicators(s Summary) []Indicator {
	none := func(without bool, why string) string {
		if without {
			return why
		}
		return ""
	}
	empty := s.Counts.Cases == 0
	noCases := none(empty, "no-cases")
	positions, distributions := 0, 0
	for _, c := range s.Classes {
		positions += len(c.Positions)
		distributions += len(c.Distributions)
		if c.Year != nil {
			positions += len(c.Year.Positions)
			distributions += len(c.Year.Distributions)
		}
	}
	out := []Indicator{
		{ID: "Q1", Name: "record-completeness", Where: "completeness.records", Absent: noCases},
		{ID: "Q2", Name: "report-arrival", Where: "completeness.arrival", Absent: s.Completeness.ArrivalAbsent},
		{ID: "Q3", Name: "volume", Where: "volume", Absent: noCases},
		{ID: "Q4", Name: "distribution-by-class", Where: "classes", Absent: none(len(s.Classes) == 0, "no-cases")},
		{ID: "Q5", Name: "reference-levels", Where: "classes.positions", Absent: none(positions == 0, "no-class-with-enough-cases")},
		{ID: "Q6", Name: "whole-distribution", Where: "classes.distributions", Absent: none(distributions == 0, "no-class-with-enough-cases")},
		{ID: "Q7", Name: "crossings", Where: "crossings", Absent: noCases},
		{ID: "Q8", Name: "substantial", Where: "substantial", Absent: noCases},
		{ID: "Q9", Name: "follow-up", Where: "follow_up", Absent: none(len(s.Substantial.Cases) == 0 && len(s.FollowUp.Open) == 0, "nothing-to-follow-up")},
		{ID: "Q10", Name: "reactions", Where: "reactions", Absent: none(s.Reactions.Looked.N == 0 && len(s.Reactions.Rows) == 0, "nothing-to-follow-up")},
		{ID: "Q11", Name: "peer-review", Where: "review", Absent: none(len(s.Review.Rows) == 0, "nothing-to-review")},
		{ID: "Q12", Name: "cumulative-patients", Where: "cumulative", Absent: noCases},
		{ID: "Q13", Name: "meters", Where: "meters", Absent: none(len(s.Meters) == 0, "no-devices")},
		{ID: "Q14", Name: "estimates", Where: "estimates", Absent: noCases},
		{ID: "Q15", Name: "children-and-pregnant", Where: "apart", Absent: noCases},
	}
	for i := range out {
		out[i].Given = out[i].Absent == ""
	}
	return out
}
