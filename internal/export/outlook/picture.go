package outlook

import (
	"fmt"

	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/quantity"
)

// Picture gives the grid of directions to draw, with a note behind its title. Without a grid it is empty.
func (d Document) Picture(note string) skinmap.Directions {
	if d.Grid == nil {
		return skinmap.Directions{}
	}
	p := skinmap.Directions{
		Primary: d.Grid.Primary, Secondary: d.Grid.Secondary,
		Title:   fmt.Sprintf("%s more from each direction%s", gray(d.Grid.KermaGy), note),
		Caption: fmt.Sprintf("reference air kerma; beams like those of the newest procedure; earlier procedures: %d, of them on the map: %d", d.Earlier.Procedures, d.Earlier.Mapped),
		Earlier: "highest dose so far: estimated " + gray(d.Earlier.PeakGy) + " at " + d.Earlier.Place.String(),
	}
	for _, column := range d.Grid.Outlooks {
		doses := make([]quantity.Opt[quantity.Gray], len(column))
		for i, o := range column {
			if o != nil {
				doses[i] = quantity.Some(o.AfterGy)
			}
		}
		p.Dose = append(p.Dose, doses)
	}
	return p
}
