package web

import (
	"bytes"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"

	"afterbeam/internal/followup"
	"afterbeam/internal/physics"
	"afterbeam/internal/summary"
)

func theoryPages() []page {
	return []page{
		{method: http.MethodGet, path: "/theory", title: "theory.title", template: "theory.html", listed: true, group: "nav.physics", serve: func(*view) (any, error) { return nil, nil }},
		{method: http.MethodGet, path: "/theory/:name", title: "theory.title", template: "theorypart.html", serve: showTheory},
	}
}

// theories are the documents, by the name in the path. They are part of the program and in English.
func theories() map[string]string {
	return map[string]string{"dose": physics.Theory, "summaries": summary.Statistics, "hazards": followup.Hazards}
}

// theoryData is one document.
type theoryData struct {
	Name     string
	Sections []theorySection
	Body     template.HTML
}

// theorySection is a heading of the second level.
type theorySection struct{ ID, Title string }

func showTheory(v *view) (any, error) {
	name := v.param("name")
	source, ok := theories()[name]
	if !ok {
		return nil, &failure{status: http.StatusNotFound}
	}
	_, source, _ = strings.Cut(source, "\n") // the page has its own heading
	d := theoryData{Name: name}
	md := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID()))
	tree := md.Parser().Parse(text.NewReader([]byte(source)))
	for n := tree.FirstChild(); n != nil; n = n.NextSibling() {
		const section = 2
		if h, ok := n.(*ast.Heading); ok && h.Level == section {
			id, _ := h.AttributeString("id")
			d.Sections = append(d.Sections, theorySection{ID: fmt.Sprintf("%s", id), Title: string(h.Lines().Value([]byte(source)))})
		}
	}
	var out bytes.Buffer
	if err := md.Renderer().Render(&out, []byte(source), tree); err != nil {
		return nil, fmt.Errorf("document %s: %w", name, err)
	}
	body := strings.NewReplacer("<table>", `<div class="scroll" tabindex="0"><table>`, "</table>", "</table></div>", "<pre>", `<pre tabindex="0">`).Replace(out.String())
	d.Body = template.HTML(body) //nolint:gosec // the document is part of the program, and goldmark lets no raw HTML through
	return d, nil
}
