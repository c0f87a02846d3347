package web

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
)

// document is a text that is part of the program, as it stands on a page.
type document struct {
	Title    string
	Sections []documentSection
	Body     template.HTML
}

// documentSection is a heading of the second level.
type documentSection struct{ ID, Title string }

// documentOf reads Markdown, whose first line is its title.
func documentOf(source string) (document, error) {
	title, source, _ := strings.Cut(source, "\n")
	d := document{Title: strings.TrimPrefix(title, "# ")}
	md := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID()))
	tree := md.Parser().Parse(text.NewReader([]byte(source)))
	for n := tree.FirstChild(); n != nil; n = n.NextSibling() {
		const section = 2
		if h, ok := n.(*ast.Heading); ok && h.Level == section {
			id, _ := h.AttributeString("id")
			d.Sections = append(d.Sections, documentSection{ID: fmt.Sprintf("%s", id), Title: string(h.Lines().Value([]byte(source)))})
		}
	}
	var out bytes.Buffer
	if err := md.Renderer().Render(&out, []byte(source), tree); err != nil {
		return d, fmt.Errorf("document %q: %w", d.Title, err)
	}
	body := strings.NewReplacer("<table>", `<div class="scroll" tabindex="0"><table>`, "</table>", "</table></div>", "<pre>", `<pre tabindex="0">`).Replace(out.String())
	d.Body = template.HTML(body) //nolint:gosec // the document is part of the program, and goldmark lets no raw HTML through
	return d, nil
}
