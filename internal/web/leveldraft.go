package web

import (
	"net/http"
	"strconv"

	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure/lexicon"
)

// draftData is the form by which other levels are proposed: the rows of a version, and one row more.
type draftData struct {
	Base       string // the version that it starts from, "" for what is in force
	Mark       string // of what it starts from: fields are numbered by its rows
	Schemes    []scheme
	PlainKap   bool
	Quantities []string
	Meanings   []string
	Classes    []lexicon.Class
	Typed      typed
	Sent       bool
	Wrong      string
}

// Value gives what stands in a field of a row: what was typed, or the row's own.
func (d draftData) Value(field string, n int, of string) string {
	return d.Typed.Or(field+strconv.Itoa(n), of)
}

// Checked tells whether a row's box is ticked.
func (d draftData) Checked(n int, on bool) bool {
	if d.Sent {
		return d.Typed.Of("on"+strconv.Itoa(n)) != ""
	}
	return on
}

// base is the rows that a draft starts from, and a mark of them: the version, since a version never changes.
type base struct {
	rows  []httpapi.LevelRow
	plain bool
	mark  string
}

func (v *view) base() (base, error) {
	if id := v.baseID(); id != "" {
		s, err := ask[httpapi.LevelSet](v, http.MethodGet, "/v1/level-sets/"+escape(id), nil)
		return base{s.Rows, s.PlainKap, s.Id}, err
	}
	in, err := ask[httpapi.LevelsInForce](v, http.MethodGet, "/v1/levels", nil)
	b := base{in.Rows, in.PlainKap, string(in.From)}
	if in.Version != nil {
		b.mark = strconv.Itoa(*in.Version)
	}
	return b, err
}

func (v *view) baseID() string {
	if v.c.Request().Method == http.MethodPost {
		return v.form("base")
	}
	return v.query("base")
}

func (v *view) levelDraft(wrong string) (draftData, error) {
	d := draftData{
		Base: v.baseID(), Typed: v.typed(), Sent: v.c.Request().Method == http.MethodPost, Wrong: wrong,
		Quantities: []string{"psd", "kar", "kap", "ft"}, Classes: lexicon.Classes(),
		Meanings: []string{"notification", "follow-up", "risk management"},
	}
	b, err := v.base()
	d.Schemes, d.PlainKap, d.Mark = schemes(b.rows), b.plain, b.mark
	if d.Sent {
		d.PlainKap = v.form("plain_kap") != ""
	}
	return d, err
}

// draftLevels keeps a proposal: the rows of the version that it starts from with what the form changes, and a row of the
// site's own where one was filled in.
func draftLevels(v *view) (any, error) {
	again := func(wrong string) (any, error) { return v.levelDraft(wrong) }
	b, err := v.base()
	if err != nil {
		return nil, err
	}
	rows, wrong := b.rows, ""
	if v.form("mark") != b.mark {
		return nil, &failure{status: http.StatusConflict}
	}
	for n := range rows {
		i := strconv.Itoa(n)
		rows[n].On = v.form("on"+i) != ""
		if rows[n].Quantity == httpapi.LevelRowQuantityNone {
			continue
		}
		if !v.changed(&rows[n].Value, "value"+i) || !v.changed(&rows[n].Step, "step"+i) {
			wrong = v.lang.Text("levels.want_number", "level", rows[n].Scheme+" "+rows[n].Id)
		}
	}
	if v.text("new_id") != "" || v.text("new_value") != "" {
		row, ok := v.newLevel()
		if !ok {
			wrong = v.lang.Text("levels.want_row")
		}
		rows = append(rows, row)
	}
	if wrong != "" {
		data, err := again(wrong)
		return shown{http.StatusUnprocessableEntity, data}, err
	}
	plain := v.form("plain_kap") != ""
	s, err := ask[httpapi.LevelSet](v, http.MethodPost, "/v1/level-sets", httpapi.LevelSetRequest{Reason: v.text("reason"), PlainKap: &plain, Rows: rows})
	return v.answered(err, "/levels/"+s.Id+"?done=levels-drafted", again)
}

// changed reads a number of the form into a level; a field that is not there changes nothing, an empty one takes the number
// away. It tells whether it is a number.
func (v *view) changed(to **float64, field string) bool {
	if !v.c.Request().PostForm.Has(field) {
		return true
	}
	text := v.text(field)
	if text == "" {
		*to = nil
		return true
	}
	n, err := number(text)
	if err != nil || !(n > 0) {
		return false
	}
	*to = &n
	return true
}

// newLevel reads the row that the site adds.
func (v *view) newLevel() (httpapi.LevelRow, bool) {
	row := httpapi.LevelRow{
		Scheme: v.text("new_scheme"), Title: v.text("new_title"), Id: v.text("new_id"), Meaning: v.text("new_meaning"), Quantity: httpapi.LevelRowQuantity(v.form("new_quantity")),
		On: true, Text: v.text("new_text"), Source: v.text("new_source"), Known: v.text("new_known"),
	}
	if classes := v.c.Request().PostForm["new_class"]; len(classes) > 0 {
		row.Classes = &classes
	}
	if v.form("new_pregnant") != "" {
		yes := true
		row.Pregnant = &yes
	}
	ok := row.Scheme != "" && row.Title != "" && row.Id != "" && row.Source != "" && row.Known != ""
	for field, to := range map[string]**float64{"new_value": &row.Value, "new_step": &row.Step, "new_age_from": &row.AgeFrom, "new_age_below": &row.AgeBelow} {
		ok = v.changed(to, field) && ok
	}
	return row, ok && row.Value != nil
}
