package web

import (
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/wording"
)

var idForm = regexp.MustCompile(`^[a-z2-7]{24}$`)

//go:embed templates/*.html
var templateFiles embed.FS

// loadTemplates parses the file of every page with the layout and the parts that pages share.
func loadTemplates(pages []page) (map[string]*template.Template, error) {
	base, err := template.ParseFS(templateFiles, "templates/layout.html", "templates/parts*.html")
	if err != nil {
		return nil, fmt.Errorf("templates: %w", err)
	}
	names := []string{failedTemplate}
	for _, p := range pages {
		if p.template != "" && !slices.Contains(names, p.template) {
			names = append(names, p.template)
		}
	}
	all := map[string]*template.Template{}
	for _, name := range names {
		one, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if all[name], err = one.ParseFS(templateFiles, "templates/"+name); err != nil {
			return nil, fmt.Errorf("templates: %w", err)
		}
	}
	return all, nil
}

// frame is what a template sees as $: the page's data and what the layout shows around it.
type frame struct {
	Data any
	// Path is this page's, without the query, and Back where a change of the look leads: here, or to where a form was.
	Path, Back string
	// Name and Role are the person's, "" while nobody signed in.
	Name, Role string
	Nav        []entry // the first line
	Menus      []menu
	Scripts    []string
	// Left is how many seconds the session lasts without use; 0 without one.
	Left      int
	Theme     string // light, dark or "" for the system's
	Tongues   []tongue
	Synthetic bool
	Version   string
	Now       time.Time
	Done      string // what was just done, in words

	title  string
	lang   wording.Language
	zone   *time.Location
	assets assets
}

// entry is one of the navigation.
type entry struct {
	Path, Title string
	Here        bool
}

// menu is a group of entries behind one word.
type menu struct {
	Title   string
	Here    bool // holds the page that is shown
	Entries []entry
}

// tongue is a language one can switch to.
type tongue struct {
	Tag, Name string
	Here      bool
}

func (v *view) frame(title string, data any) frame {
	f := frame{
		Data: data, Path: v.c.Request().URL.Path, Back: v.back(), Scripts: v.page.scripts, Theme: themeOf(v.c.Request()), Synthetic: v.site.cfg.Synthetic,
		Version: v.site.cfg.Version, Now: v.site.cfg.Now(), title: title, lang: v.lang, zone: v.site.cfg.Zone, assets: v.site.assets,
	}
	for _, tag := range v.site.book.Tags() {
		f.Tongues = append(f.Tongues, tongue{tag, v.site.book.In(tag).Name(), tag == v.lang.Tag()})
	}
	if done := "done." + v.query("done"); v.lang.Has(done) {
		f.Done = v.lang.Text(done)
	}
	if !v.signedIn() {
		return f
	}
	f.Name, f.Role, f.Left = v.grant.Account.Name, string(v.grant.Role), int(v.left().Seconds())
	for _, p := range v.site.pages {
		if p.listed && v.site.opens(v.grant, p) {
			f.list(p.group, entry{p.path, v.lang.Text(p.title), p.title == title})
		}
	}
	return f
}

// list puts an entry into its menu, or into the first line.
func (f *frame) list(group string, e entry) {
	if group == "" {
		f.Nav = append(f.Nav, e)
		return
	}
	title := f.lang.Text(group)
	i := slices.IndexFunc(f.Menus, func(m menu) bool { return m.Title == title })
	if i < 0 {
		i = len(f.Menus)
		f.Menus = append(f.Menus, menu{Title: title})
	}
	f.Menus[i].Entries = append(f.Menus[i].Entries, e)
	f.Menus[i].Here = f.Menus[i].Here || e.Here
}

// opens tells whether a page is for a person.
func (s *Site) opens(g access.Grant, p page) bool {
	return !slices.ContainsFunc(p.needs, func(op access.Operation) bool { return g.May(op) != nil })
}

// landing is the first page in the navigation of a person.
func (s *Site) landing(g access.Grant) string {
	for _, p := range s.pages {
		if p.listed && p.method == http.MethodGet && s.opens(g, p) {
			return p.path
		}
	}
	return "/me"
}

// Title is the page's title in words. It never names a patient: it stands in the browser's history.
func (f frame) Title() string { return f.T(f.title) }

// Lang is the tag of the page's language.
func (f frame) Lang() string { return f.lang.Tag() }

// T gives a text of the language files, its placeholders filled by pairs of name and value; a pointer stands for what it points
// to.
func (f frame) T(key string, pairs ...any) string {
	for i, p := range pairs {
		if v := reflect.ValueOf(p); v.Kind() == reflect.Pointer && !v.IsNil() {
			pairs[i] = v.Elem().Interface()
		}
	}
	return f.lang.Text(key, pairs...)
}

// Count gives the text key.one or key.many with {n}.
func (f frame) Count(key string, n int, pairs ...any) string { return f.lang.Count(key, n, pairs...) }

// Known gives a text of the language files where there is one, and otherwise the words as they are: sites have words of their own.
func (f frame) Known(key, otherwise string) string {
	if f.lang.Has(key) {
		return f.lang.Text(key)
	}
	return otherwise
}

// Figure writes a printed number with the language's decimal sign.
func (f frame) Figure(printed string) string { return f.lang.Figure(printed) }

// Number writes a number with so many decimals.
func (f frame) Number(v float64, decimals int) string { return f.lang.Number(v, decimals) }

// IsID tells whether a text has the form of the store's ids.
func (f frame) IsID(text string) bool { return idForm.MatchString(text) }

// Date writes the day of a time at the site.
func (f frame) Date(t time.Time) string { return f.lang.Date(t.In(f.zone)) }

// Clock writes the time of day at the site.
func (f frame) Clock(t time.Time) string { return f.lang.Clock(t.In(f.zone)) }

// Moment writes day and time at the site.
func (f frame) Moment(t time.Time) string { return f.lang.Moment(t.In(f.zone)) }

// ISO writes a time for the attribute datetime.
func (f frame) ISO(t time.Time) string { return t.In(f.zone).Format(time.RFC3339) }

// Asset gives the path of a file of static/.
func (f frame) Asset(name string) (string, error) { return f.assets.path(name) }

// With is the same frame around other data, for a part: {{template "flag" ($.With .Flag)}}.
func (f frame) With(data any) frame {
	f.Data = data
	return f
}
