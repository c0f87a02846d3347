package web

import (
	"net/http"

	"afterbeam/internal/followup"
	"afterbeam/internal/help"
	"afterbeam/internal/physics"
	"afterbeam/internal/summary"
)

func theoryPages() []page {
	return []page{
		{method: http.MethodGet, path: "/theory", title: "theory.title", template: "theory.html", listed: true, group: "nav.physics", serve: func(*view) (any, error) { return nil, nil }},
		{method: http.MethodGet, path: "/theory/:name", title: "theory.title", template: "document.html", serve: showTheory},
	}
}

// helpPages need nobody signed in: they tell nothing of the site.
func helpPages() []page {
	return []page{
		{method: http.MethodGet, path: "/help", title: "help.title", template: "help.html", listed: true, open: true, serve: func(*view) (any, error) { return help.Topics(), nil }},
		{method: http.MethodGet, path: "/help/:topic", title: "help.title", template: "document.html", open: true, serve: showHelp},
	}
}

// documentData is a document with where it belongs.
type documentData struct {
	document
	Lang       string
	Up, UpPath string // title and path of the page that lists it
}

// theories are the documents, by the name in the path, in English.
func theories() map[string]string {
	return map[string]string{"dose": physics.Theory, "statistics": summary.Statistics, "hazards": followup.Hazards}
}

func showTheory(v *view) (any, error) {
	source, ok := theories()[v.param("name")]
	if !ok {
		return nil, &failure{status: http.StatusNotFound}
	}
	d, err := documentOf(source)
	return documentData{document: d, Lang: "en", Up: v.lang.Text("theory.title"), UpPath: "/theory"}, err
}

func showHelp(v *view) (any, error) {
	source, err := help.Page(v.param("topic"), v.lang.Tag())
	if err != nil {
		return nil, &failure{status: http.StatusNotFound}
	}
	d, err := documentOf(source)
	return documentData{document: d, Lang: v.lang.Tag(), Up: v.lang.Text("help.title"), UpPath: "/help"}, err
}
