package notice

import (
	"embed"
	"fmt"
	"strings"
	"sync"
	"unicode/utf8"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/wording"
)

//go:embed language/*.toml
var languages embed.FS

// Languages gives the languages of notices.
var Languages = sync.OnceValue(func() wording.Book { return wording.Embedded(languages) })

// Item is one notice of a message.
type Item struct {
	Reference string
	Kind      Kind
	Urgent    bool
	Content   Content
	// Link leads to the case behind the sign-in, "" without one.
	Link string
}

// Letter is what a message to one person says.
type Letter struct {
	Items []Item
	// Repeat tells that it may have been delivered before.
	Repeat bool
	// Bare leaves every number out: the link alone says what it is about.
	Bare bool
}

// width is how many characters a line of a message has.
const width = 78

// mostAssumptions is how many assumptions a notice lists, so that it stays one screen; the case lists all.
const mostAssumptions = 5

// Render writes a letter: its subject and text. What stands first is shown as a preview in lists of messages, so that it
// tells nothing of the case.
func Render(l Letter, tag string) (subject, text string) {
	w := &writer{say: Languages().In(tag)}
	w.head(l)
	for i, item := range l.Items {
		if i > 0 {
			w.b.WriteString("\n" + strings.Repeat("-", width) + "\n\n")
		}
		w.item(item, l)
	}
	if !l.Bare && l.Items[0].Kind != Broken {
		w.gap()
		w.wrap("", w.say.Text("caution.levels"))
	}
	return w.subject(l), w.b.String()
}

// writer writes in one language.
type writer struct {
	say wording.Language
	b   strings.Builder
}

func (w *writer) subject(l Letter) string {
	var s string
	switch first := l.Items[0]; {
	case len(l.Items) > 1:
		s = w.say.Count("subject.digest", len(l.Items))
	case first.Urgent:
		s = w.say.Text("subject.urgent."+string(first.Kind), "reference", first.Reference)
	default:
		s = w.say.Text("subject."+string(first.Kind), "reference", first.Reference)
	}
	if l.Repeat {
		return w.say.Text("subject.repeat", "subject", s)
	}
	return s
}

// head is the part that a preview shows.
func (w *writer) head(l Letter) {
	if l.Repeat {
		w.wrap("", w.say.Text("head.repeat"))
	}
	switch first := l.Items[0]; {
	case len(l.Items) > 1:
		w.wrap("", w.say.Count("head.digest", len(l.Items)))
	case first.Kind == Broken:
		w.wrap("", w.say.Text("head.alarm"))
	default:
		w.wrap("", w.say.Text("head.case"))
	}
	if l.Items[0].Kind != Broken {
		w.wrap("", w.say.Text("caution.estimate"))
	}
	w.gap()
}

func (w *writer) item(i Item, l Letter) {
	if i.Link != "" {
		w.line(w.say.Text("link.open") + " " + i.Link)
	}
	w.wrap("", w.say.Text("reference", "reference", i.Reference))
	if a := i.Content.Alarm; a != nil {
		w.gap()
		w.alarm(*a)
		return
	}
	if l.Bare {
		return
	}
	w.gap()
	w.wrap("", w.what(i.Content))
	w.amended(i)
	w.levels(i.Content)
	w.doses(i.Content)
	w.earlier(i.Content)
	w.asks(i.Content.Asks)
	w.assumed(i.Content.Assumptions)
}

// what says which case it is, without its patient.
func (w *writer) what(c Content) string {
	when := c.Date
	if d, ok := day(c.Date); ok {
		when = w.say.Date(d)
	}
	if when == "" {
		when = w.say.Text("case.undated")
	}
	if c.Time != "" {
		when += " " + c.Time
	}
	state := w.say.Text("state." + c.State)
	if c.Totals {
		state += "; " + w.say.Text("case.totals")
	}
	return w.say.Text("case.what", "room", orDash(c.Room), "when", when, "class", w.or("class."+c.Class, c.ClassTitle), "state", state)
}

func (w *writer) amended(i Item) {
	a := i.Content.Amended
	if a == nil {
		if i.Kind == Complete {
			w.wrap("", w.say.Text("amended.complete"))
		}
		return
	}
	w.title("title.amended")
	for _, l := range a.Gone {
		w.point(w.say.Text("amended.gone", "level", w.level(l)))
	}
	for _, l := range a.New {
		w.point(w.say.Text("amended.new", "level", w.level(l)))
	}
	if a.Why != "" {
		w.point(w.say.Text("amended.why", "why", a.Why))
	}
}

func (w *writer) levels(c Content) {
	w.title("title.levels")
	said := false
	for _, l := range c.Levels {
		key := "level.reached"
		if l.State != "reached" {
			key = "level.near"
		}
		w.point(w.say.Text(key, "level", w.level(l)))
		said = true
	}
	if c.Flag == "unknown" {
		w.point(w.say.Text("level.unknown", "why", strings.Join(c.Reasons, "; ")))
		return
	}
	if !said {
		w.point(w.say.Text("level.none"))
	}
}

// level says one level with its value.
func (w *writer) level(l Level) string {
	pairs := []any{
		"scheme", l.Title, "meaning", w.or("meaning."+key(l.Meaning), l.Meaning), "quantity", w.say.Text("quantity." + l.Quantity),
		"value", w.say.Figure(l.Shown), "level", w.say.Figure(l.ShownLevel), "basis", w.or("basis."+key(l.Basis), l.Basis),
	}
	text := w.say.Text("level.case", pairs...)
	if l.ShownStep != "" {
		text += " " + w.say.Text("level.step", "step", w.say.Figure(l.ShownStep))
	}
	if l.Days > 0 {
		text += " " + w.say.Text("level.window", "procedures", l.Procedures, "days", l.Days)
	}
	return text
}

func (w *writer) doses(c Content) {
	w.title("title.dose")
	w.point(w.say.Text("dose.reported", "kerma", w.figure(c.Kerma), "kap", w.figure(c.KAP), "time", w.figure(c.Fluoro)))
	w.point(w.say.Text("dose.skin", "value", w.spread(c.Skin)))
	if c.Skin.Value.Present() && c.Place.Region != "" {
		w.point(w.say.Text("dose.place", "place", w.place(c.Place)))
	}
	w.point(w.say.Text("dose.effective", "value", w.spread(c.Whole)))
}

func (w *writer) figure(f Figure) string {
	text := w.say.Figure(f.Shown)
	switch {
	case f.Shown == "" && len(f.Missing) > 0:
		return w.say.Text("figure.missing", "planes", strings.Join(f.Missing, ", "))
	case f.Shown == "":
		return w.say.Text("figure.none")
	case f.AtLeast:
		text = w.say.Text("figure.least", "value", text)
	}
	if f.Doubtful {
		text += " " + w.say.Text("figure.doubtful")
	}
	return text
}

func (w *writer) spread(s Spread) string {
	if !s.Value.Present() {
		return w.say.Text("spread.none", "why", s.Reason)
	}
	form := "spread.known"
	if s.AtLeast {
		form = "spread.least"
	}
	return w.say.Text(form, "value", w.say.Figure(s.Shown[0]), "low", w.say.Figure(s.Shown[1]), "high", w.say.Figure(s.Shown[2]), "unit", s.Unit,
		"method", w.or("method."+key(s.Method), s.Method))
}

func (w *writer) earlier(c Content) {
	w.title("title.earlier")
	e := c.Earlier
	if e == nil {
		w.point(w.say.Text("earlier.none"))
		return
	}
	w.point(w.say.Count("earlier.sum", e.Procedures, "days", e.Days, "kerma", w.figure(e.Kerma), "kap", w.figure(e.KAP)))
	key := "earlier.added"
	if e.Mapped {
		key = "earlier.mapped"
	}
	w.point(w.say.Text(key, "value", w.spread(e.Skin)))
	if e.Mapped && e.Place.Region != "" {
		text := w.say.Text("dose.place", "place", w.place(e.Place))
		if e.OwnShown != "" {
			text += "; " + w.say.Text("earlier.own", "value", w.say.Figure(e.OwnShown))
		}
		w.point(text)
	}
}

func (w *writer) asks(all []ask.Ask) {
	mine := 0
	for _, a := range all {
		if a.Owner == ask.Operator {
			mine++
		}
	}
	if len(all) == 0 {
		return
	}
	w.title("title.asks")
	for _, a := range all {
		if a.Owner == ask.Operator {
			w.point(w.asked(a))
		}
	}
	if others := len(all) - mine; others > 0 {
		w.point(w.say.Count("ask.others", others))
	}
}

func (w *writer) asked(a ask.Ask) string {
	what := w.or("ask."+string(a.Kind), string(a.Kind))
	due := w.date(a.Due)
	if a.From != "" {
		return w.say.Text("asked.between", "what", what, "from", w.date(a.From), "due", due)
	}
	return w.say.Text("asked.by", "what", what, "due", due)
}

func (w *writer) date(text string) string {
	if d, ok := day(text); ok {
		return w.say.Date(d)
	}
	return text
}

func (w *writer) assumed(all []string) {
	if len(all) == 0 {
		return
	}
	w.title("title.assumed")
	for i, a := range all {
		if i == mostAssumptions {
			w.point(w.say.Count("assumed.more", len(all)-i))
			return
		}
		w.point(a)
	}
}

func (w *writer) alarm(a Alarm) {
	if a.Channel == "" {
		w.wrap("", w.say.Count("alarm.nobody", a.Waiting, "why", a.Why))
		return
	}
	w.wrap("", w.say.Text("alarm.channel", "channel", w.or("channel."+a.Channel, a.Channel), "since", a.Since, "waiting", a.Waiting, "why", a.Why))
}

// or gives the text of a key, or the words themselves where the language files have none for them: what a site named itself.
func (w *writer) or(key, words string) string {
	if w.say.Has(key) {
		return w.say.Text(key)
	}
	return words
}

func (w *writer) title(key string) {
	w.gap()
	w.line(w.say.Text(key))
}

func (w *writer) point(text string) { w.wrap("- ", text) }

func (w *writer) line(text string) { fmt.Fprintln(&w.b, text) }

func (w *writer) gap() {
	if w.b.Len() > 0 && !strings.HasSuffix(w.b.String(), "\n\n") {
		w.b.WriteString("\n")
	}
}

// wrap writes a text in lines, with a mark before the first.
func (w *writer) wrap(mark, text string) {
	indent := strings.Repeat(" ", len(mark))
	line, lead := mark, mark
	for _, word := range strings.Fields(text) {
		if line != lead && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			w.line(line)
			line, lead = indent, indent
		}
		if line != lead {
			line += " "
		}
		line += word
	}
	w.line(line)
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
