package checksheet

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode"
)

// width is where lines of text are broken.
const width = 110

// Text writes the sheet as plain text.
func (s Sheet) Text(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n", strings.ToUpper(s.Title))
	for _, f := range s.Facts {
		fmt.Fprintf(&b, "  %-18s %s\n", f.Name, f.Word)
	}
	b.WriteString("\nANSWERS\n")
	for _, a := range s.Answers {
		fmt.Fprintf(&b, "  %s: %s\n", a.Question, strings.ToUpper(a.State))
		wrapped(&b, "      ", a.Says)
		if a.Proof != "" {
			wrapped(&b, "      ", a.Proof)
		}
	}
	for _, t := range s.Tables {
		if err := t.text(&b); err != nil {
			return err
		}
	}
	lines(&b, "NOTES", s.Notes)
	lines(&b, "DRAFT OF THE PROFILE", s.Changes)
	b.WriteString("\n")
	for line := range strings.Lines(s.Draft) {
		fmt.Fprintf(&b, "    %s\n", printable(strings.TrimRight(line, "\n")))
	}
	fmt.Fprintf(&b, "\nSIGNATURES\n  %s\n", s.Signing)
	for _, who := range s.Signers {
		fmt.Fprintf(&b, "\n  name ______________________  day ____________  signature ______________________  (%s)\n", who)
	}
	b.WriteString("\n")
	wrapped(&b, "", s.Caution)
	_, err := io.WriteString(w, b.String())
	return err
}

func lines(b *strings.Builder, title string, all []string) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s\n", title)
	for _, line := range all {
		wrapped(b, "  ", line)
	}
}

func (t Table) text(b *strings.Builder) error {
	fmt.Fprintf(b, "\n%s\n", strings.ToUpper(t.Title))
	if len(t.Rows) == 0 {
		b.WriteString("  - (none)\n")
		return nil
	}
	columns := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, row := range append([][]string{t.Head}, t.Rows...) {
		if _, err := fmt.Fprintf(columns, "  %s\n", strings.Join(row, "\t")); err != nil {
			return err
		}
	}
	if err := columns.Flush(); err != nil {
		return err
	}
	if t.Foot != "" {
		wrapped(b, "  ", t.Foot)
	}
	return nil
}

// wrapped writes text in lines of a width, each after the indent.
func wrapped(b *strings.Builder, indent, text string) {
	at := 0
	for _, word := range strings.Fields(printable(text)) {
		switch {
		case at == 0:
			b.WriteString(indent)
			at = len(indent)
		case at+1+len(word) > width:
			b.WriteString("\n" + indent)
			at = len(indent)
		default:
			b.WriteString(" ")
			at++
		}
		b.WriteString(word)
		at += len(word)
	}
	b.WriteString("\n")
}

// printable keeps what a form or a report brought along from steering a terminal.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, s)
}
