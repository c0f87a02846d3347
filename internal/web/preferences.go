package web

import (
	"net/http"
	"slices"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func preferencePages() []page {
	needs := []access.Operation{"getNoticePreferences", "setNoticePreferences"}
	return []page{
		{method: http.MethodGet, path: "/me/notices", title: "prefer.title", template: "prefer.html", needs: needs, serve: func(v *view) (any, error) { return v.preferences("") }},
		{method: http.MethodPost, path: "/me/notices", title: "prefer.title", template: "prefer.html", needs: needs, serve: setPreferences},
	}
}

// Ways of the times that a person may choose.
const (
	asSite = "site" // as the site has it
	never  = "none"
	own    = "own"
)

// preferencesData is what a person chose and what holds with it.
type preferencesData struct {
	httpapi.NoticePreferencesDetail
	// From, Language, Quiet, Digest and ChannelsBy are the choices: "site" where nothing was chosen.
	From, Language, Quiet, Digest, ChannelsBy string
	QuietFrom, QuietTo, DigestAt, Mail        string
	Froms                                     []string
	Channels                                  []channelRow
	Wrong                                     string
}

type channelRow struct {
	Name string
	On   bool
}

// way tells whether a time was chosen: as the site has it, none, or a time of one's own.
func way(chosen *string) (how, value string) {
	switch {
	case chosen == nil:
		return asSite, ""
	case *chosen == "":
		return never, ""
	}
	return own, *chosen
}

func (v *view) preferences(wrong string) (preferencesData, error) {
	d := preferencesData{Wrong: wrong, From: asSite, Language: asSite, ChannelsBy: asSite, Froms: []string{"every", "notification", "follow-up"}}
	var err error
	d.NoticePreferencesDetail, err = ask[httpapi.NoticePreferencesDetail](v, http.MethodGet, "/v1/me/notice-preferences", nil)
	if err != nil {
		return d, err
	}
	chosen := d.Chosen
	if wrong != "" { // what was typed stands, not what is kept
		chosen = v.wanted()
	}
	if chosen.From != nil {
		d.From = string(*chosen.From)
	}
	if chosen.Language != nil {
		d.Language = *chosen.Language
	}
	d.Quiet, d.QuietFrom = way(chosen.QuietFrom)
	_, d.QuietTo = way(chosen.QuietTo)
	d.Digest, d.DigestAt = way(chosen.DigestAt)
	if chosen.Mail != nil {
		d.Mail = *chosen.Mail
	}
	on := d.Holds.Channels
	if chosen.Channels != nil {
		d.ChannelsBy, on = own, *chosen.Channels
	}
	for _, name := range d.Offered.Channels {
		d.Channels = append(d.Channels, channelRow{name, slices.Contains(on, name)})
	}
	return d, nil
}

// wanted reads the form: what is as the site has it is left out.
func (v *view) wanted() httpapi.NoticePreferences {
	var p httpapi.NoticePreferences
	text := func(s string) *string { return &s }
	if from := httpapi.NoticePreferencesFrom(v.form("level")); from != asSite {
		p.From = &from
	}
	if tag := v.form("language"); tag != asSite {
		p.Language = &tag
	}
	switch v.form("quiet") {
	case never:
		p.QuietFrom, p.QuietTo = text(""), text("")
	case own:
		p.QuietFrom, p.QuietTo = text(v.text("quiet_from")), text(v.text("quiet_to"))
	}
	switch v.form("digest") {
	case never:
		p.DigestAt = text("")
	case own:
		p.DigestAt = text(v.text("digest_at"))
	}
	if v.form("channels_by") == own {
		p.Channels = &[]string{}
		*p.Channels = append(*p.Channels, v.c.Request().PostForm["channel"]...)
	}
	if mail := strings.TrimSpace(v.form("mail")); mail != "" {
		p.Mail = &mail
	}
	return p
}

// setPreferences keeps what a person chose. A time of one's own wants the time.
func setPreferences(v *view) (any, error) {
	again := func(wrong string) (any, error) { return v.preferences(wrong) }
	p := v.wanted()
	for _, t := range []struct {
		by    string
		times []*string
	}{{"quiet", []*string{p.QuietFrom, p.QuietTo}}, {"digest", []*string{p.DigestAt}}} {
		for _, one := range t.times {
			if v.form(t.by) == own && (one == nil || *one == "") {
				data, err := again(v.lang.Text("prefer.want_time"))
				return shown{http.StatusUnprocessableEntity, data}, err
			}
		}
	}
	_, err := ask[httpapi.NoticePreferencesDetail](v, http.MethodPut, "/v1/me/notice-preferences", p)
	return v.answered(err, "/me/notices?done=preferences", again)
}
