package paperhtml

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"afterbeam/internal/followup/paper"
)

//go:embed paper.html.tmpl
var text string

var page = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("paper").Funcs(template.FuncMap{
		"kind": kindOf, "titled": titled, "data": data, "outline": outline, "grey": grey, "heading": heading, "mm": mm, "baseline": baseline, "class": class,
	}).Parse(text))
})

// Write writes a document; its errors are those of w.
func Write(w io.Writer, d paper.Document) error {
	var out bytes.Buffer
	if err := page().Execute(&out, d); err != nil {
		return fmt.Errorf("write paper: %w", err)
	}
	_, err := w.Write(out.Bytes())
	return err
}

// kindOf names the kind of a block for the template.
func kindOf(b paper.Block) string {
	switch b.(type) {
	case paper.Heading:
		return "heading"
	case paper.Paragraph:
		return "paragraph"
	case paper.List:
		return "list"
	case paper.Table:
		return "table"
	case paper.Box:
		return "box"
	case paper.Picture:
		return "picture"
	case paper.Drawing:
		return "drawing"
	case paper.Signature:
		return "signature"
	}
	return ""
}

func titled(columns []paper.Column) bool {
	return slices.ContainsFunc(columns, func(c paper.Column) bool { return c.Title != "" })
}

// heading opens or closes a heading; its level comes from us.
func heading(b paper.Heading, end bool) template.HTML {
	mark := "<h"
	if end {
		mark = "</h"
	}
	return template.HTML(mark + strconv.Itoa(b.Level) + ">") //nolint:gosec // a number
}

func class(s paper.Style) string {
	switch s {
	case paper.Caution:
		return "caution"
	case paper.Small:
		return "small"
	case paper.Large:
		return "large"
	case paper.Plain:
	}
	return "plain"
}

func data(png []byte) template.URL {
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png)) //nolint:gosec // base64
}

func mm(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }

// baseline puts letters of 3 mm in the middle of their place.
func baseline(v float64) string { return mm(v + 1) }

func outline(points []paper.Point) string {
	words := make([]string, len(points))
	for i, p := range points {
		words[i] = mm(p.X) + "," + mm(p.Y)
	}
	return strings.Join(words, " ")
}

func grey(v float64) string {
	g := int(math.Round(255 * v))
	return fmt.Sprintf("#%02x%02x%02x", g, g, g)
}
