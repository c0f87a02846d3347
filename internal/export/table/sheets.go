package table

import (
	"strconv"
	"time"

	"github.com/xuri/excelize/v2"
)

// dictionary explains the columns on a sheet of its own.
func (b *workbook) dictionary() error {
	w := b.t.words()
	rows := [][]string{{
		w.Text("table.title"), w.Text("table.name"), w.Text("table.kind"), w.Text("table.unit"), w.Text("table.decimals"),
		w.Text("table.meaning"), w.Text("table.source"),
	}}
	for _, c := range b.beside.cells {
		decimals := ""
		if c.Kind == Number {
			decimals = strconv.Itoa(c.Decimals)
		}
		rows = append(rows, []string{c.head(), c.Name, w.Text("kind." + string(c.Kind)), c.Unit, decimals, c.Meaning, c.Source})
	}
	return b.sheet(w.Text("table.dictionary"), rows, []float64{34, 28, 18, 12, 12, 70, 50}, true)
}

// provenance says what the rows are and where they come from.
func (b *workbook) provenance() error {
	w := b.t.words()
	digest := b.Digest()
	rows := [][]string{
		{w.Text("table.table"), b.t.Title},
		{w.Text("table.name"), b.t.Name},
		{w.Text("table.version"), strconv.Itoa(b.t.Version)},
		{w.Text("table.program"), "afterbeam " + b.t.Program},
		{w.Text("table.made"), b.t.Made.In(b.t.zone()).Format(time.RFC3339)},
		{w.Text("table.zone"), b.t.zoneName()},
	}
	for _, f := range b.t.Filters {
		rows = append(rows, []string{w.Text("table.filter", "name", f.Name), f.Value})
	}
	if len(b.t.Filters) == 0 {
		rows = append(rows, []string{w.Text("table.filter", "name", "–"), w.Text("table.no_filter")})
	}
	for _, m := range b.t.Methods {
		rows = append(rows, []string{w.Text("table.method", "name", m.Name), m.Value})
	}
	rows = append(rows, []string{w.Text("table.row_count"), strconv.Itoa(digest.Rows)}, []string{w.Text("table.digest"), digest.SHA256})
	for _, note := range append([]string{w.Text("table.absent_note")}, b.t.Notes...) {
		rows = append(rows, []string{w.Text("table.note"), note})
	}
	return b.sheet(w.Text("table.provenance"), rows, []float64{34, 100}, false)
}

// sheet adds a sheet of texts.
func (b *workbook) sheet(name string, rows [][]string, widths []float64, titled bool) error {
	if _, err := b.file.NewSheet(name); err != nil {
		return err
	}
	stream, err := b.file.NewStreamWriter(name)
	if err != nil {
		return err
	}
	text, bold, err := b.textStyles()
	if err != nil {
		return err
	}
	for i, width := range widths {
		if err := stream.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
	}
	if titled {
		if err := stream.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
			return err
		}
	}
	for i, row := range rows {
		cells := make([]any, len(row))
		for k, value := range row {
			style := text
			if (titled && i == 0) || (!titled && k == 0) {
				style = bold
			}
			cells[k] = excelize.Cell{StyleID: style, Value: clean(value)}
		}
		if err := stream.SetRow("A"+strconv.Itoa(i+1), cells); err != nil {
			return err
		}
	}
	return stream.Flush()
}

// textStyles are for texts of several lines, plain and bold.
func (b *workbook) textStyles() (text, bold int, err error) {
	form, wrap := "@", &excelize.Alignment{WrapText: true, Vertical: "top"}
	if text, err = b.file.NewStyle(&excelize.Style{CustomNumFmt: &form, Alignment: wrap}); err != nil {
		return 0, 0, err
	}
	bold, err = b.file.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, CustomNumFmt: &form, Alignment: wrap})
	return text, bold, err
}
