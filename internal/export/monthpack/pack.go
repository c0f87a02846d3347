package monthpack

import (
	"embed"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/summary"
	"afterbeam/internal/wording"
)

// ErrLanguage marks a language that there are no words of.
var ErrLanguage = errors.New("no such language")

// Kind is the paper's kind.
const Kind paper.Kind = "month-pack"

//go:embed language/*.toml
var files embed.FS

var book = sync.OnceValue(func() wording.Book { return wording.Embedded(files) })

// Languages lists the languages.
func Languages() []string { return book().Tags() }

// Input is what a pack is made from.
type Input struct {
	Summary summary.Summary
	// Centre and Department stand at the head of the first page; Notice is said under the title, such as that data are synthetic.
	Centre, Department, Notice string
	// Made is when the pack was made, in the site's zone; Program the version of the program.
	Made    time.Time
	Program string
}

// Section is one part of a pack. The blocks do not hold its title.
type Section struct {
	// ID is its key, the same in every language.
	ID, Title string
	Blocks    []paper.Block
}

// Sections composes the parts in their order. Charts are drawn where pictures is set; else only their tables are there. It
// returns ErrLanguage and errors of drawing.
func Sections(language string, in Input, pictures bool) ([]Section, error) {
	if !book().Has(language) {
		return nil, fmt.Errorf("%w: %q, wanted is one of %s", ErrLanguage, language, strings.Join(Languages(), ", "))
	}
	p := &pack{w: book().In(language), s: in.Summary, in: in, pictures: pictures, cited: map[string]int{}}
	parts := []struct {
		id   string
		make func()
	}{
		{"overview", p.overview},
		{"completeness", p.completeness},
		{"followup", p.followUp},
		{"volume", p.volume},
		{"classes", p.classes},
		{"levels", p.levels},
		{"charts", p.charts},
		{"review", p.review},
		{"cumulative", p.cumulative},
		{"apart", p.apart},
		{"meters", p.meters},
		{"estimates", p.estimates},
		{"actions", p.actions},
		{"method", p.method},
	}
	sections := make([]Section, 0, len(parts))
	for _, part := range parts {
		p.blocks = nil
		part.make()
		if p.err != nil {
			return nil, p.err
		}
		sections = append(sections, Section{ID: part.id, Title: p.t("section." + part.id), Blocks: p.blocks})
	}
	return sections, nil
}

// Compose gives the pack as a document.
func Compose(language string, in Input) (paper.Document, error) {
	sections, err := Sections(language, in, true)
	if err != nil {
		return paper.Document{}, err
	}
	w := book().In(language)
	name := PeriodName(w, in.Summary.Period)
	d := paper.Document{
		Kind: Kind, Language: language, Title: w.Text("pack.title", "period", name), Centre: in.Centre, Department: in.Department,
		Banner: strings.TrimPrefix(in.Centre+" · ", " · ") + w.Text("pack.title", "period", name), PageOf: w.Text("pack.page_of"), Made: in.Made, Program: in.Program,
		Foot: w.Text("pack.foot", "period", name, "made", w.Moment(in.Made), "program", in.Program),
	}
	d.Blocks = append(d.Blocks, paper.Heading{Level: 1, Text: d.Title})
	for i, s := range sections {
		if i > 0 {
			d.Blocks = append(d.Blocks, paper.Heading{Level: 2, Text: fmt.Sprintf("%d  %s", i, s.Title)})
		}
		d.Blocks = append(d.Blocks, s.Blocks...)
	}
	drawable(&d)
	return d, nil
}

// Write writes the pack as PDF. It returns ErrLanguage, paperpdf.ErrSize and errors of w.
func Write(w io.Writer, language string, size paperpdf.Size, in Input) error {
	d, err := Compose(language, in)
	if err != nil {
		return err
	}
	return paperpdf.Write(w, d, size)
}

// PeriodName says which period it is in words.
func PeriodName(w wording.Language, p summary.Period) string {
	from, err := time.Parse(time.DateOnly, p.From)
	if err != nil {
		return p.Name
	}
	switch p.Kind {
	case summary.Month:
		return w.Text("month."+strings.ToLower(from.Month().String())) + " " + from.Format("2006")
	case summary.Quarter:
		return w.Text("pack.quarter", "n", (int(from.Month())+2)/3, "year", from.Format("2006"))
	}
	return p.Name
}

// Words gives the words of packs in a language, the base where there is no such one.
func Words(language string) wording.Language { return book().In(language) }

// pack composes one pack.
type pack struct {
	w        wording.Language
	s        summary.Summary
	in       Input
	pictures bool
	blocks   []paper.Block
	// cited numbers the sources in the order in which they are first named.
	cited   map[string]int
	sources []string
	err     error
}

func (p *pack) t(key string, pairs ...any) string { return p.w.Text(key, pairs...) }

// word gives the words of a key of the summary, the key itself where there are none.
func (p *pack) word(of, key string) string {
	name := of + "." + strings.NewReplacer("-", "_", ".", "_").Replace(key)
	if p.w.Has(name) {
		return p.t(name)
	}
	return key
}

func (p *pack) add(b ...paper.Block) { p.blocks = append(p.blocks, b...) }

func (p *pack) heading(key string, pairs ...any) {
	p.add(paper.Heading{Level: 3, Text: p.t(key, pairs...)})
}

func (p *pack) say(key string, pairs ...any) { p.add(paper.Paragraph{Text: p.t(key, pairs...)}) }

func (p *pack) small(key string, pairs ...any) {
	p.add(paper.Paragraph{Text: p.t(key, pairs...), Style: paper.Small})
}

// cite numbers a source.
func (p *pack) cite(source string) string {
	if p.cited[source] == 0 {
		p.sources = append(p.sources, source)
		p.cited[source] = len(p.sources)
	}
	return fmt.Sprintf("[%d]", p.cited[source])
}

// table adds a small table; a column whose key ends with + is of numbers. Widths are relative.
func (p *pack) table(caption string, columns []string, widths []float64, rows [][]string) {
	const most = 9 // rows of a table that is not parted
	b := paper.Table{Caption: caption, Rows: rows, Small: true, Whole: len(rows) <= most}
	for i, key := range columns {
		name, right := strings.CutSuffix(key, "+")
		b.Columns = append(b.Columns, paper.Column{Title: p.t("column." + name), Width: widths[i], Right: right})
	}
	p.add(b)
}
