package statistic

// Show is what the small-number rules let be shown.
type Show string

// The steps, each with what is new in it.
const (
	ShowNothing     Show = "nothing"     // no value
	ShowList        Show = "list"        // 1 to 4: the cases, no summary
	ShowRange       Show = "range"       // from 5: median and range
	ShowQuartiles   Show = "quartiles"   // from 10: quartiles, interval of the median
	ShowProvisional Show = "provisional" // from 20: reference levels, provisionally
	ShowFull        Show = "full"        // from 30: reference levels, 75th percentile with its interval
	ShowP90         Show = "p90"         // from 36: 90th percentile with its interval
	ShowP95         Show = "p95"         // from 72: 95th percentile with its interval
)
