package checksheet

import (
	"strings"
	"time"

	"afterbeam/internal/followup/paper"
)

// Document gives the sheet as a paper, which is written as PDF elsewhere. made is when, program by which version.
func (s Sheet) Document(made time.Time, program string) paper.Document {
	d := paper.Document{
		Kind: paper.PhysicistReport, Language: "en", Title: s.Title, Foot: s.Title + ", " + s.Facts[0].Word, PageOf: "Page {page} of {pages}",
		Made: made, Program: program,
	}
	head := func(text string) { d.Blocks = append(d.Blocks, paper.Heading{Level: 2, Text: text}) }
	d.Blocks = append(d.Blocks, paper.Heading{Level: 1, Text: s.Title}, paper.Paragraph{Text: s.Caution, Style: paper.Caution})
	facts := paper.Table{Columns: []paper.Column{{Width: 1}, {Width: 3}}}
	for _, f := range s.Facts {
		facts.Rows = append(facts.Rows, []string{f.Name, f.Word})
	}
	d.Blocks = append(d.Blocks, facts)
	head("Answers")
	answers := paper.Table{Columns: []paper.Column{{Title: "question", Width: 4}, {Title: "state", Width: 2}, {Title: "answer", Width: 8}}, Small: true}
	for _, a := range s.Answers {
		says := a.Says
		if a.Proof != "" {
			says += "; " + a.Proof
		}
		answers.Rows = append(answers.Rows, []string{a.Question, a.State, says})
	}
	d.Blocks = append(d.Blocks, answers)
	for _, t := range s.Tables {
		head(t.Title)
		d.Blocks = append(d.Blocks, t.block())
		if t.Foot != "" {
			d.Blocks = append(d.Blocks, paper.Paragraph{Text: t.Foot, Style: paper.Small})
		}
	}
	if len(s.Notes) > 0 {
		head("Notes")
		d.Blocks = append(d.Blocks, paper.List{Items: s.Notes})
	}
	head("Draft of the profile")
	d.Blocks = append(d.Blocks, paper.List{Items: s.Changes, Small: true})
	var draft []string
	for line := range strings.Lines(s.Draft) {
		if line = strings.TrimSpace(line); line != "" {
			draft = append(draft, printable(line))
		}
	}
	d.Blocks = append(d.Blocks, paper.List{Items: draft, Small: true})
	head("Signatures")
	d.Blocks = append(d.Blocks, paper.Paragraph{Text: s.Signing}, paper.Signature{Under: s.Signers})
	return d
}

// block gives the table with columns as wide as the longest of their cells.
func (t Table) block() paper.Table {
	out := paper.Table{Rows: t.Rows, Small: true}
	for i, title := range t.Head {
		width := len(title) / 2 // titles are broken over lines
		for _, row := range t.Rows {
			width = max(width, len(row[i]))
		}
		out.Columns = append(out.Columns, paper.Column{Title: title, Width: float64(min(max(width, 6), 40))})
	}
	return out
}
