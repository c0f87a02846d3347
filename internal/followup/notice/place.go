package notice

import (
	"regexp"
	"strings"

	"afterbeam/internal/physics/skindose"
)

// The forms in which the body's places are said.
var (
	sideForm  = regexp.MustCompile(`^(\d+) cm (left|right) of the (.+)$`)
	levelForm = regexp.MustCompile(`^(\d+) cm (above|below) the (.+)$`)
)

// place says where on the body, in the language where it has words for it.
func (w *writer) place(p skindose.Place) string {
	parts := []string{w.region(p.Region)}
	if !strings.HasPrefix(p.Side, "on the ") || !strings.Contains(p.Region, "midline") {
		parts = append(parts, w.measured(sideForm, p.Side))
	}
	return strings.Join(append(parts, w.measured(levelForm, p.Level)), ", ")
}

func (w *writer) region(name string) string {
	for _, side := range []string{"left", "right"} {
		rest, ok := strings.CutPrefix(name, side+" ")
		if key := "region." + key(rest); ok && w.say.Has(key) {
			return w.say.Text("side."+side, "region", w.say.Text(key))
		}
	}
	return w.or("region."+key(name), name)
}

// measured says a distance from a line of the body.
func (w *writer) measured(form *regexp.Regexp, text string) string {
	found := form.FindStringSubmatch(text)
	if found == nil {
		return w.or("body."+key(text), text)
	}
	if from := "body." + key(found[3]); w.say.Has(from) {
		return w.say.Text("measured."+found[2], "cm", found[1], "from", w.say.Text(from))
	}
	return text
}

// key makes a name of a text's key from words.
func key(words string) string {
	return strings.NewReplacer(" ", "-", ",", "", "'", "").Replace(words)
}
