package checksheet

import (
	_ "embed" // the page
	"fmt"
	"html/template"
	"io"
)

//go:embed page.html.tmpl
var page string

// HTML writes the sheet as one page for a browser or its printer.
func (s Sheet) HTML(w io.Writer) error {
	t, err := template.New("sheet").Parse(page)
	if err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	return t.Execute(w, s)
}
