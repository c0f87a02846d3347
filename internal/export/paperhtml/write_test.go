package paperhtml_test

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/paperhtml"
	"afterbeam/internal/followup/paper"
)

func document() paper.Document {
	return paper.Document{
		Kind: paper.PatientSheet, Language: "de", Title: "Titel <1>", Centre: "Haus & Hof", Contact: []string{"Telefon"}, Banner: "Person", Address: []string{"Eine Straße"},
		Foot: "Papier 1", Blocks: []paper.Block{
			paper.Heading{Level: 1, Text: "Titel <1>"},
			paper.Paragraph{Lead: "Sofort", Text: "a < b", Style: paper.Caution},
			paper.Paragraph{Text: "in English", Lang: "en"},
			paper.Heading{Level: 2, Text: "Liste"},
			paper.List{Items: []string{"eins", "zwei"}, Small: true, Lang: "en"},
			paper.Table{Caption: "Zahlen", Columns: []paper.Column{{Title: "Was", Width: 1}, {Title: "Wert", Width: 1, Right: true}}, Rows: [][]string{{"Ka,r", "5,61"}}},
			paper.Box{Blocks: []paper.Block{paper.Heading{Level: 3, Text: "Kasten"}, paper.Table{Columns: []paper.Column{{Width: 1}, {Width: 1}}, Rows: [][]string{{"a", "b"}}}}},
			paper.Picture{PNG: []byte("png"), Alt: "eine Karte", Caption: "Karte"},
			paper.Drawing{Width: 10, Height: 10, Alt: "eine Figur", Shapes: []paper.Shape{{Points: []paper.Point{{X: 1, Y: 2}, {X: 3, Y: 4}}, Fill: 1, Bold: true}}, Labels: []paper.Label{{At: paper.Point{X: 5, Y: 5}, Text: "links"}}},
			paper.Signature{Under: []string{"Name, Datum"}},
		},
	}
}

func write(t *testing.T, d paper.Document) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, paperhtml.Write(&out, d))
	return out.String()
}

func TestWrite(t *testing.T) {
	got := write(t, document())
	for _, want := range []string{
		`<html lang="de">`, `<title>Titel &lt;1&gt;</title>`, `<h1>Titel &lt;1&gt;</h1>`, `<h2>Liste</h2>`, `<h3>Kasten</h3>`, `a &lt; b`, `Haus &amp; Hof`,
		`<strong>Sofort</strong>`, `lang="en">in English`, `<ul class="small" lang="en">`, `<caption>Zahlen</caption>`, `<th scope="col">Was</th>`, `<th scope="col" class="number">Wert</th>`,
		`<th scope="row">Ka,r</th>`, `<td class="number">5,61</td>`, `alt="eine Karte"`, "data:image/png;base64," + base64.StdEncoding.EncodeToString([]byte("png")),
		`role="img" aria-label="eine Figur"`, `points="1.00,2.00 3.00,4.00"`, `>links</text>`, `Name, Datum`, `Papier 1`,
	} {
		assert.Contains(t, got, want)
	}
	assert.Equal(t, 1, strings.Count(got, "<thead>"), "a table without titles has no row of them")
	assert.Equal(t, got, write(t, document()), "the same bytes")
	for _, never := range []string{"<script", "http:", "https:", "@import", "ZgotmplZ"} {
		assert.NotContains(t, got, never, "it needs nothing else")
	}
}

// Every element is closed in its place: the elements without an end apart, the document is read as XML.
func TestElementsAreNested(t *testing.T) {
	d := xml.NewDecoder(strings.NewReader(strings.TrimPrefix(write(t, document()), "<!DOCTYPE html>")))
	d.Strict, d.AutoClose, d.Entity = false, []string{"meta", "br", "img"}, xml.HTMLEntity
	depth := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		switch token.(type) {
		case xml.StartElement:
			depth++
		case xml.EndElement:
			depth--
		}
	}
	assert.Zero(t, depth)
}
