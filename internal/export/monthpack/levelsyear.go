package monthpack

import "afterbeam/internal/summary/statistic"

// levelsOfYear is the comparison over twelve months of the classes whose cases in the period are too few for it.
func (p *pack) levelsOfYear() {
	var rows [][]string
	from, to := "", ""
	for _, c := range p.s.Classes {
		if c.Year == nil || len(c.Positions) > 0 {
			continue
		}
		for _, at := range p.chosen(c.Year.Positions) {
			rows = append(rows, p.position(c, at))
			from, to = c.Year.From, c.Year.To
		}
	}
	if len(rows) == 0 {
		return
	}
	p.heading("levels.year")
	p.say("levels.year_about", "n", statistic.ShowProvisional.Need(), "from", p.date(from), "to", p.date(to))
	p.table(p.t("levels.year"), []string{"class", "quantity", "median+", "level+", "kind", "verdict", "source"}, []float64{34, 26, 27, 15, 27, 32, 14}, rows)
}
