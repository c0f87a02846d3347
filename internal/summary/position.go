package summary

import (
	"cmp"
	"slices"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/statistic"
)

// compared holds a class against published levels and distributions.
func (w *work) compared(class string, t table) ([]Position, []Distribution, []Withheld) {
	positions, withheld := w.positions(class, t)
	distributions, more := w.distributions(class, t)
	return positions, distributions, append(withheld, more...)
}

// positions holds the medians of a class against the reference levels of its class. Fixed and mobile equipment are never
// put together, and a level of one complexity is for such cases alone.
func (w *work) positions(class string, t table) ([]Position, []Withheld) {
	out, withheld := []Position{}, []Withheld{}
	mounts := mountsOf(t.now)
	samples := map[string]sample{}
	for _, l := range w.settings.References {
		if l.Class != class {
			continue
		}
		on := []string{l.Mount}
		if l.Mount == "" && len(mounts) > 1 {
			on = mounts
		}
		for _, mount := range on {
			s, known := t.sampleOf(l.Quantity, l.Complexity, mount, samples)
			switch {
			case !known || len(s.sorted) == 0:
			case !statistic.ShowProvisional.Allows(len(s.sorted)):
				withheld = append(withheld, Withheld{What: "reference-level " + l.ID, Reason: withheldFew, Need: statistic.ShowProvisional.Need()})
			default:
				p := positionOf(s.sorted, l, w.settings.Percentile)
				p.Mount = mount
				out = append(out, p)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Position) int {
		return cmp.Or(
			cmp.Compare(quantityOrder(a.Level.Quantity), quantityOrder(b.Level.Quantity)), cmp.Compare(a.Mount, b.Mount),
			cmp.Compare(b.Level.Year, a.Level.Year), cmp.Compare(a.Level.ID, b.Level.ID),
		)
	})
	return out, withheld
}

func quantityOrder(name string) int {
	return slices.IndexFunc(classMeasures(), func(m measure) bool { return m.name == name })
}

func positionOf(sorted []float64, l reference.Level, kind statistic.Type) Position {
	q := statistic.QuantileOf(sorted, 50, kind)
	p := Position{
		Level: l, Median: q.Value, N: len(sorted), Low: q.Low, High: q.High,
		Verdict: reference.Compare(q.Value, q.Low, l), Provisional: !statistic.ShowFull.Allows(len(sorted)),
	}
	high, known := q.High.Get()
	p.IntervalReaches = q.Value <= l.Value && known && high > l.Value
	return p
}

func mountsOf(cases []*Case) []string {
	mounts := []string{}
	for _, c := range cases {
		if mount := mountOf(c); !slices.Contains(mounts, mount) {
			mounts = append(mounts, mount)
		}
	}
	slices.Sort(mounts)
	return mounts
}

// sampleOf gives the values of a quantity of the cases of one complexity and mount, "" for all. Kept remembers them.
func (t table) sampleOf(name, complexity, mount string, kept map[string]sample) (sample, bool) {
	i := slices.IndexFunc(t.measures, func(m measure) bool { return m.name == name })
	if i < 0 {
		return sample{}, false
	}
	key := name + "\x00" + complexity + "\x00" + mount
	s, there := kept[key]
	if !there {
		s = t.columns[i].where(func(at int) bool {
			c := t.now[at]
			return (complexity == "" || c.Complexity == complexity) && (mount == "" || mountOf(c) == mount)
		})
		kept[key] = s
	}
	return s, true
}

// distributions holds whole local distributions against published ones.
func (w *work) distributions(class string, t table) ([]Distribution, []Withheld) {
	out, withheld := []Distribution{}, []Withheld{}
	samples := map[string]sample{}
	for _, d := range w.settings.Distributions {
		if d.Class != class {
			continue
		}
		s, known := t.sampleOf(d.Quantity, d.Complexity, "", samples)
		n := len(s.sorted)
		switch {
		case !known || n == 0:
		case !statistic.ShowProvisional.Allows(n):
			withheld = append(withheld, Withheld{What: "distribution " + d.ID, Reason: withheldFew, Need: statistic.ShowProvisional.Need()})
		default:
			above := tally{n: n, x: n - afterLast(s.sorted, d.P75)}.proportion()
			row := func(percent int, published float64) DistributionRow {
				return DistributionRow{Percent: percent, Published: published, Local: quantity.Some(w.settings.Percentile.Of(s.sorted, float64(percent)/100))}
			}
			out = append(out, Distribution{Published: d, N: n, Rows: []DistributionRow{row(25, d.P25), row(50, d.P50), row(75, d.P75)}, AboveP75: &above})
		}
	}
	return out, withheld
}

// afterLast gives how many sorted values are not above a value.
func afterLast(sorted []float64, value float64) int {
	at, _ := slices.BinarySearchFunc(sorted, value, func(v, limit float64) int {
		if v <= limit {
			return -1
		}
		return 1
	})
	return at
}
