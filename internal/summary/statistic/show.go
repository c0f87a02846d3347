package statistic

// Show is what the small-number rules let be shown.
type Show string

// The steps, each with what is new in it.
const (
	ShowNothing     Show = "nothing"     // no value
	ShowList        Show = "list"        // the cases, no summary
	ShowRange       Show = "range"       // median and range
	ShowQuartiles   Show = "quartiles"   // quartiles, interval of the median
	ShowProvisional Show = "provisional" // reference levels, provisionally
	ShowFull        Show = "full"        // reference levels, 75th percentile with its interval
	ShowP90         Show = "p90"         // 90th percentile with its interval
	ShowP95         Show = "p95"         // 95th percentile with its interval
)

// Step is one line of the small-number rules: from how many values on what may be shown.
type Step struct {
	From int
	Show Show
}

// Steps lists the small-number rules. Source: 20 to 30 cases, ICRP Publication 135 (2017) (memory) and ARPANSA, current
// Australian reference levels (read); 36 and 72, eq. (4); the others and the words are judgement of the project.
func Steps() []Step {
	return []Step{
		{0, ShowNothing},
		{1, ShowList},
		{5, ShowRange},
		{10, ShowQuartiles},
		{20, ShowProvisional},
		{30, ShowFull},
		{36, ShowP90},
		{72, ShowP95},
	}
}

// Numbers that other rules of small groups need.
const (
	// LeastLeaving is the smallest group in anything that leaves the department; one below is withheld. Judgement.
	LeastLeaving = 5
	// LeastOperator is the fewest cases of a class and complexity at which an operator's are summed up. Judgement.
	LeastOperator = 20
)

// ShowAt gives what may be shown of n values.
func ShowAt(n int) Show {
	shown := ShowNothing
	for _, step := range Steps() {
		if n >= step.From {
			shown = step.Show
		}
	}
	return shown
}

// Need gives from how many values on something is shown.
func (s Show) Need() int {
	for _, step := range Steps() {
		if step.Show == s {
			return step.From
		}
	}
	return 0
}

// Allows tells whether what a step is about may be shown at n values.
func (s Show) Allows(n int) bool { return n >= s.Need() }
