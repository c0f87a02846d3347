package level

import (
	_ "embed"
	"encoding/csv"
	"strconv"
	"strings"
	"sync"

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
	reader := csv.NewReader(strings.NewReader(bandsCSV))
	reader.Comment = '#'
	records, err := reader.ReadAll()
	if err != nil {
		panic("level: embedded bands.csv: " + err.Error()) // a broken build, seen by the first test
	}
	all := make([]Band, 0, len(records)-1)
	for _, f := range records[1:] {
		from, err := strconv.ParseFloat(f[1], 64)
		if err != nil {
			panic("level: embedded bands.csv: " + err.Error())
		}
		all = append(all, Band{Name: f[0], From: quantity.Gray(from), Grade: f[2], Prompt: f[3], Early: f[4], Midterm: f[5], LongTerm: f[6]})
	}
	return all
})

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
