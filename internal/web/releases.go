package web

import (
	"net/http"
	"slices"
	"strconv"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure/lexicon"
)

func releasesPages() []page {
	see := []access.Operation{"listReleases", "listRecipients", "listColleagues"}
	decide := func(path string, op access.Operation, done string) page {
		return page{
			method: http.MethodPost, path: "/releases/:id/" + path, title: "releases.title", template: "releases.html", needs: append(see[:3:3], op), fresh: path == "make",
			serve: func(v *view) (any, error) { return decideRelease(v, path, done) },
		}
	}
	return []page{
		{method: http.MethodGet, path: "/releases", title: "releases.title", template: "releases.html", needs: see, listed: true, group: "nav.quality", serve: func(v *view) (any, error) { return v.releases("") }},
		{method: http.MethodPost, path: "/releases", title: "releases.title", template: "releases.html", needs: append(see[:3:3], "askRelease"), serve: askRelease},
		decide("approve", "approveRelease", "release-approved"),
		decide("refuse", "refuseRelease", "release-refused"),
		decide("make", "makeRelease", "release-made"),
		{method: http.MethodGet, path: "/releases/:id/file", title: "releases.title", needs: []access.Operation{"getReleaseFile"}, serve: releaseFile},
		{method: http.MethodPost, path: "/recipients/:id/revoke", title: "releases.title", template: "releases.html", needs: append(see[:3:3], "revokeRecipient"), fresh: true, serve: revokeRecipient},
	}
}

// releaseRow is a release with names, and what the person may do with it.
type releaseRow struct {
	httpapi.Release
	By, Decider, Maker                   string
	Mine, MayApprove, MayRefuse, MayMake bool
	HasFile                              bool
}

type releasesData struct {
	Rows       []releaseRow
	Recipients []httpapi.Recipient
	MayAsk     bool
	Classes    []lexicon.Class
	Devices    []httpapi.ReleaseDevice
	Persons    []httpapi.ReleasePersons
	Contents   []httpapi.ReleaseContent
	Typed      typed
	Wrong      string
}

func (v *view) releases(wrong string) (releasesData, error) {
	d := releasesData{
		MayAsk: v.grant.May("askRelease") == nil, Classes: lexicon.Classes(), Typed: v.typed(), Wrong: wrong,
		Devices:  []httpapi.ReleaseDevice{httpapi.ReleaseDevicePseudonym, httpapi.ReleaseDeviceMake, httpapi.ReleaseDeviceIdentity},
		Persons:  []httpapi.ReleasePersons{httpapi.ReleasePersonsDropped, httpapi.ReleasePersonsPseudonym},
		Contents: []httpapi.ReleaseContent{httpapi.Reports, httpapi.Tables},
	}
	list, err := ask[httpapi.ReleaseList](v, http.MethodGet, "/v1/releases", nil)
	if err != nil {
		return d, err
	}
	to, err := ask[httpapi.RecipientList](v, http.MethodGet, "/v1/release-recipients", nil)
	if err != nil {
		return d, err
	}
	d.Recipients = to.Recipients
	c, err := v.colleagues()
	for _, r := range list.Releases {
		d.Rows = append(d.Rows, v.releaseRow(c, r))
	}
	return d, err
}

func (v *view) releaseRow(c colleagues, r httpapi.Release) releaseRow {
	may := func(op access.Operation) bool { return v.grant.May(op) == nil && !r.Revoked }
	row := releaseRow{Release: r, By: c.name(r.AskedBy), Mine: r.AskedBy == v.grant.Account.ID}
	if r.DecidedBy != nil {
		row.Decider = c.name(*r.DecidedBy)
	}
	if r.MadeBy != nil {
		row.Maker = c.name(*r.MadeBy)
	}
	asked, approved := r.State == httpapi.ReleaseStateAsked, r.State == httpapi.ReleaseStateApproved
	row.MayApprove = asked && !row.Mine && may("approveRelease")
	row.MayRefuse = (asked || approved) && v.grant.May("refuseRelease") == nil
	row.MayMake = approved && may("makeRelease")
	row.HasFile = r.State == httpapi.ReleaseStateMade && may("getReleaseFile")
	return row
}

// askRelease keeps what a person asks for.
func askRelease(v *view) (any, error) {
	r := v.c.Request().PostForm
	device, persons := httpapi.ReleaseDevice(v.text("device")), httpapi.ReleasePersons(v.text("persons"))
	characteristics, bound := v.form("characteristics") != "", v.form("bound_sizes") != ""
	body := httpapi.ReleaseRequest{
		Recipient: v.text("recipient"), Purpose: v.text("purpose"), From: v.optional("from"), To: v.optional("to"), Room: v.optional("room"), Class: v.optional("class"),
		Contents: []httpapi.ReleaseContent{}, Device: &device, Persons: &persons, Characteristics: &characteristics, BoundSizes: &bound,
	}
	for _, one := range []httpapi.ReleaseContent{httpapi.Reports, httpapi.Tables} {
		if slices.Contains(r["contents"], string(one)) {
			body.Contents = append(body.Contents, one)
		}
	}
	_, err := v.call(http.MethodPost, "/v1/releases", body)
	return v.answered(err, "/releases?done=release-asked", func(wrong string) (any, error) { return v.releases(wrong) })
}

// decideRelease approves, refuses or makes one.
func decideRelease(v *view, what, done string) (any, error) {
	var body any
	if what != "make" {
		body = httpapi.ReasonRequest{Reason: v.text("reason")}
	}
	_, err := v.call(http.MethodPost, withID("/v1/releases/{id}/"+what, v.param("id")), body)
	return v.answered(err, "/releases?done="+done, func(wrong string) (any, error) { return v.releases(wrong) })
}

func revokeRecipient(v *view) (any, error) {
	_, err := v.call(http.MethodPost, withID("/v1/release-recipients/{id}/revoke", v.param("id")), httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/releases?done=recipient-revoked", func(wrong string) (any, error) { return v.releases(wrong) })
}

// releaseFile hands out what was made.
func releaseFile(v *view) (any, error) {
	a, err := v.call(http.MethodGet, withID("/v1/releases/{id}/file", v.param("id")), nil)
	if err != nil {
		return nil, err
	}
	h := v.c.Response().Header()
	h.Set("Content-Disposition", a.Header.Get("Content-Disposition"))
	h.Set("Content-Length", strconv.Itoa(len(a.Body)))
	return raw{"application/zip", a.Body}, nil
}
