package web

import (
	"net/http"
	"slices"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func casePaperPages() []page {
	read := []access.Operation{"listPapers", "getProcedure", "getPatient", "listColleagues"}
	return []page{
		{method: http.MethodGet, path: "/cases/:id/papers", title: "papers.title", template: "papers.html", needs: read, serve: func(v *view) (any, error) { return v.papers("") }},
		{method: http.MethodPost, path: "/cases/:id/papers", title: "papers.title", template: "papers.html", needs: append(read, "makePaper"), serve: makePaper},
		{method: http.MethodGet, path: "/cases/:id/papers/:paper", title: "papers.title", needs: []access.Operation{"getPaper"}, serve: openPaper},
	}
}

// papersData is the papers of a case and what can be made.
type papersData struct {
	banner
	Papers []paperRow
	Kinds  []httpapi.PaperKind
	Sizes  []httpapi.PaperRequestSize
	Typed  typed
	Wrong  string
}

type paperRow struct {
	httpapi.Paper
	By    string
	Short string // of the digest of the PDF
	Stale bool   // there is a newer estimate
}

func (v *view) papers(wrong string) (papersData, error) {
	d := papersData{
		Typed: v.typed(), Wrong: wrong, Kinds: []httpapi.PaperKind{httpapi.PatientSheet, httpapi.DoctorLetter, httpapi.PhysicistReport},
		Sizes: []httpapi.PaperRequestSize{httpapi.A4, httpapi.Letter},
	}
	id := v.param("id")
	c, p, banner, err := v.ofCase(id)
	if err != nil {
		return d, err
	}
	d.banner = banner
	list, err := ask[httpapi.PaperList](v, http.MethodGet, "/v1/procedures/"+escape(id)+"/papers", nil)
	for _, one := range list.Papers {
		d.Papers = append(d.Papers, paperRow{one, c.name(one.MadeBy), one.Digest[:min(12, len(one.Digest))], one.Version < p.Version})
	}
	return d, err
}

// makePaper makes a paper of the newest estimate.
func makePaper(v *view) (any, error) {
	size, language := httpapi.PaperRequestSize(v.form("size")), v.form("language")
	asked := httpapi.PaperRequest{Kind: httpapi.PaperKind(v.form("kind")), Language: &language, Size: &size}
	lines := slices.DeleteFunc(strings.Split(strings.ReplaceAll(v.text("recipient"), "\r\n", "\n"), "\n"), func(line string) bool { return strings.TrimSpace(line) == "" })
	if asked.Kind == httpapi.DoctorLetter && len(lines) > 0 {
		asked.Recipient = &lines
	}
	id := escape(v.param("id"))
	_, err := ask[httpapi.Paper](v, http.MethodPost, "/v1/procedures/"+id+"/papers", asked)
	return v.answered(err, "/cases/"+id+"/papers?done=paper-made", func(wrong string) (any, error) { return v.papers(wrong) })
}

// pdfPolicy keeps a PDF from everything but the browser's own viewer, which a sandbox would forbid.
const pdfPolicy = "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// openPaper gives the kept bytes with the policy that the interface gives them: they have a style of their own.
func openPaper(v *view) (any, error) {
	path := "/v1/procedures/" + escape(v.param("id")) + "/papers/" + escape(v.param("paper"))
	if v.query("format") == "html" {
		path += "?format=html"
	}
	a, err := v.call(http.MethodGet, path, nil)
	if err != nil {
		return nil, err
	}
	h := v.c.Response().Header()
	for _, name := range []string{"Content-Disposition", "Content-Security-Policy"} {
		h.Set(name, a.Header.Get(name))
	}
	kind := a.Header.Get("Content-Type")
	if kind == "application/pdf" {
		h.Set("Content-Security-Policy", pdfPolicy)
	}
	return raw{kind, a.Body}, nil
}
