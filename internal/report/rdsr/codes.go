package rdsr

import (
	_ "embed"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/procedure"
)

// CodeGeneration says in which generation of codes a report is written. Reading takes all of them.
type CodeGeneration uint8

// The generations of codes.
const (
	CodesCurrent CodeGeneration = iota // SCT codes of 2019 and later
	Codes2017                          // SCT codes of 2017 to 2019: other codes for the metals
	CodesSRT                           // SRT codes, before 2017
)

//go:embed codes.csv
var codesCSV string

// generations is one concept in all its codes. later is a code that is read but not written: the outside checkers do not know it yet.
type generations struct{ current, former, srt, meaning, later string }

// codeBook knows the generations of each concept.
type codeBook struct {
	byCurrent, byAlias, bySRT map[string]*generations
}

// theCodes reads the embedded table once.
var theCodes = sync.OnceValue(func() *codeBook {
	book := &codeBook{map[string]*generations{}, map[string]*generations{}, map[string]*generations{}}
	for _, r := range embedded.Records(codesCSV) {
		row := &generations{r[0], r[1], r[2], r[3], r[4]}
		book.byCurrent[row.current] = row
		book.bySRT[row.srt] = row
		for _, alias := range []string{row.former, row.later} {
			if alias != "" {
				book.byAlias[alias] = row
			}
		}
	}
	return book
})

// canonical gives the current code of a concept, with the meaning as it came. Codes it does not know stay as they are,
// except that the old names of the SRT scheme become SRT.
func (b *codeBook) canonical(c procedure.Code) procedure.Code {
	if c.Scheme == "SNM3" || c.Scheme == "99SDM" {
		c.Scheme = "SRT"
	}
	var row *generations
	switch c.Scheme {
	case "SRT":
		row = b.bySRT[c.Value]
	case "SCT":
		row = b.byAlias[c.Value]
	}
	if row == nil {
		return c
	}
	return procedure.Code{Value: row.current, Scheme: "SCT", Meaning: c.Meaning}
}

// in gives a current code in another generation, unchanged when it has no other form there.
func (b *codeBook) in(c procedure.Code, g CodeGeneration) procedure.Code {
	row := b.byCurrent[c.Value]
	if c.Scheme != "SCT" || row == nil {
		return c
	}
	switch {
	case g == CodesSRT:
		c.Value, c.Scheme = row.srt, "SRT"
	case g == Codes2017 && row.former != "":
		c.Value = row.former
	}
	return c
}

// meaning gives the text for people of a current code, "" when unknown.
func (b *codeBook) meaning(value string) string {
	if row := b.byCurrent[value]; row != nil {
		return row.meaning
	}
	return ""
}

func dcm(value, meaning string) procedure.Code {
	return procedure.Code{Value: value, Scheme: "DCM", Meaning: meaning}
}

func sct(value, meaning string) procedure.Code {
	return procedure.Code{Value: value, Scheme: "SCT", Meaning: meaning}
}

// identity is a code without its meaning, the form in which codes are compared.
func identity(c procedure.Code) procedure.Code {
	return procedure.Code{Value: c.Value, Scheme: c.Scheme}
}

// Known tells whether a code, in whatever generation, is of the table of concepts, and gives the table's text for people.
func Known(c procedure.Code) (meaning string, ok bool) {
	book := theCodes()
	c = book.canonical(c)
	if c.Scheme != "SCT" {
		return "", false
	}
	meaning = book.meaning(c.Value)
	return meaning, meaning != ""
}
