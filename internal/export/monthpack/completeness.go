package monthpack

import (
	"strconv"
	"strings"

	"afterbeam/internal/followup/paper"
	"afterbeam/internal/summary"
)

// completeness is Q1 and Q2.
func (p *pack) completeness() {
	c := p.s.Completeness
	p.say("completeness.about")
	rows := [][]string{{p.t("completeness.records"), p.share(c.Records), p.change(c.Records.Change), none}}
	for _, q := range c.Quantities {
		left := make([]string, 0, len(q.LeftOut))
		for _, l := range q.LeftOut {
			left = append(left, p.word("left", l.Reason)+" "+strconv.Itoa(l.Cases))
		}
		why := strings.Join(left, "; ")
		if why == "" {
			why = none
		}
		rows = append(rows, []string{p.word("quantity", q.Quantity), p.share(q.Known), p.change(q.Known.Change), why})
	}
	arrival := []string{p.t("completeness.arrival"), p.arrival(), none, p.t("completeness.pending", "pending", c.Pending, "excluded", c.Excluded)}
	if c.Arrival != nil {
		arrival[2] = p.change(c.Arrival.Change)
	}
	rows = append(rows, arrival)
	p.table(p.t("completeness.table"), []string{"what", "share", "change", "left_out"}, []float64{38, 55, 38, 34}, rows)
	if len(c.ByRoom) > 0 {
		rows = nil
		for _, r := range c.ByRoom {
			arrived := p.word("absent", c.ArrivalAbsent)
			if r.Arrival != nil {
				arrived = p.share(*r.Arrival)
			}
			rows = append(rows, []string{named(r.Room), p.share(r.Records), arrived})
		}
		p.heading("completeness.by_room")
		p.table(p.t("completeness.by_room"), []string{"room", "records", "arrival"}, []float64{35, 65, 65}, rows)
	}
	if len(c.Missing) > 0 {
		p.heading("completeness.missing")
		p.add(paper.List{Items: p.reasons("missing", c.Missing), Small: true})
	}
	n := p.s.Counts
	p.small("completeness.counts", "totals", n.TotalsOnly, "tests", n.TestObjects, "unclassified", n.Unclassified, "unknown", n.AgeUnknown)
}

func named(name string) string {
	if name == "" {
		return none
	}
	return name
}

// volume is Q3.
func (p *pack) volume() {
	p.say("volume.about")
	for _, by := range []string{"class", "room", "size", "complexity"} {
		var rows [][]string
		for _, v := range p.s.Volume {
			if v.By == by {
				rows = append(rows, p.volumeRow(v))
			}
		}
		if len(rows) == 0 {
			continue
		}
		p.heading("volume.by_" + by)
		p.table(p.t("volume.by_"+by), []string{by, "cases+", "before+", "of_all+"}, []float64{90, 25, 25, 25}, rows)
	}
	p.small("volume.operators")
}

func (p *pack) volumeRow(v summary.Volume) []string {
	title := v.Title
	if v.By == "complexity" || v.By == "size" {
		title = p.word(v.By, v.Key)
	}
	if title == "" {
		title = p.t("pack.unknown")
	}
	if v.Withheld != "" {
		return []string{title, p.withheld(v.Withheld, 0), none, none}
	}
	share := none
	if got, ok := v.Share.Get(); ok {
		share = p.percent(got) + " %"
	}
	return []string{title, strconv.Itoa(v.Cases), strconv.Itoa(v.Before), share}
}
