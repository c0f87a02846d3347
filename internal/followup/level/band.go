package level

import (
	_ "embed"
	"slices"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

//go:embed bands.csv
var bandsCSV string

// BandSource is where the tissue-reaction bands come from and on what condition.
const BandSource = "Balter et al 2010 Radiology 254:326 (read in the reprint of AAPM MPPG 12.a): single delivery, skin of neck, trunk, pelvis, buttocks or arms, not the scalp; bands are not rigid"

// Band is a published band of tissue reactions by skin dose.
type Band struct {
	Name                             string
	From                             quantity.Gray
	Grade                            string
	Prompt, Early, Midterm, LongTerm string
}

var bands = sync.OnceValue(func() []Band {
	var all []Band
	for _, f := range embedded.Records(bandsCSV) {
		from := quantity.Gray(embedded.Numbers(f[1:2])[0])
		all = append(all, Band{Name: f[0], From: from, Grade: f[2], Prompt: f[3], Early: f[4], Midterm: f[5], LongTerm: f[6]})
	}
	return all
})

// Bands lists the published bands, the lowest dose first.
func Bands() []Band { return slices.Clone(bands()) }

// BandNamed gives the band of a name.
func BandNamed(name string) (Band, bool) {
	for _, b := range bands() {
		if b.Name == name {
			return b, true
		}
	}
	return Band{}, false
}

// BandOf gives the band of a skin dose. The lower edge belongs to the band, except that 15 Gy itself still belongs to the
// band below, as the source writes the highest band as above 15 Gy.
func BandOf(dose quantity.Gray) Band {
	all := bands()
	of := all[0]
	for i, b := range all[1:] {
		last := i == len(all)-2
		if dose > b.From || (dose == b.From && !last) {
			of = b
		}
	}
	return of
}
