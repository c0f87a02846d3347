package beam

import (
	_ "embed"
	"sync"

	"gonum.org/v1/gonum/interp"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

//go:embed data/table_scatter.csv
var tableScatterCSV string

// TableScatter is what a table and mattress add to the kerma at the skin by their own scatter, with what of it the patient
// scatters back, per mass of the table and over the scatter-free kerma there, eq. (4.4).
type TableScatter struct {
	near grid
	far  quadrants
}

// TableScattering gives the scatter of tables. It is worked out at the first call and kept.
func TableScattering() *TableScatter { return tableScatter() }

var tableScatter = sync.OnceValue(func() *TableScatter {
	rs, ss := []float64{0}, []float64{0}
	for _, row := range embedded.Records(tableScatterCSV) {
		v := embedded.Numbers(row)
		rs, ss = append(rs, v[0]), append(ss, v[1])
	}
	var s interp.FritschButland
	if err := s.Fit(append(rs, farthest), append(ss, ss[len(ss)-1])); err != nil {
		panic("beam: table of scatter from tables: " + err.Error())
	}
	t := new(TableScatter)
	integrate(s.Predict, &t.far)
	for i := range t.near {
		copy(t.near[i][:nearNodes], t.far[i*nodes:])
	}
	return t
})

// tableDistance is how far in front of the mattress the table scatters from, in mm: with a gap of air the field counts as
// so much smaller, eq. (4.5).
// Source: fit to the same Monte Carlo at gaps of 0 to 400 mm and radii of 15 to 200 mm, within 0.010 per g/cm2; computed.
const tableDistance = 38.0

// Over is the kerma by scatter of 1 g/cm2 of table over the scatter-free kerma behind it, at a place of a field whose edges
// lie at these distances as for Scatter.At, and behind a gap of air; below 0 that counts as contact. Aslant the ray meets more
// table, and that from farther off: both cancel, and mass and gap are those along the table's normal.
func (t *TableScatter) Over(left, right, below, above, gap quantity.Millimetre) float64 {
	smaller := 1.0
	if gap > 0 {
		smaller = tableDistance / (tableDistance + float64(gap))
	}
	l, r := cell(smaller*float64(left)), cell(smaller*float64(right))
	b, a := cell(smaller*float64(below)), cell(smaller*float64(above))
	if max(l.lower, r.lower, b.lower, a.lower) > nearNodes-2 {
		return t.far.sum(l, r, b, a)
	}
	return t.near.sum(l, r, b, a)
}
