package web

import (
	"net/http"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func caseNoticePages() []page {
	read := []access.Operation{"listNotices", "getProcedure", "getPatient", "listColleagues"}
	return []page{
		{method: http.MethodGet, path: "/cases/:id/notices", title: "notices.title", template: "notices.html", needs: append(read, "getNotice"), serve: func(v *view) (any, error) { return v.notices("") }},
		{method: http.MethodPost, path: "/cases/:id/notices/:notice/resend", title: "notices.title", template: "notices.html", needs: append(read, "resendNotice"), serve: resendNotice},
	}
}

// noticesData is who was told what of a case, and who has seen it.
type noticesData struct {
	banner
	Notices []noticeRow
	Seen    []seenRow
	Shown   *httpapi.NoticeDetail // the one that is shown whole
	Typed   typed
	Wrong   string
	// For is the reference of the notice that the refused form was about.
	For string
}

type noticeRow struct {
	httpapi.Notice
	Messages []messageRow
	Whole    bool // shown whole
}

type messageRow struct {
	httpapi.NoticeMessage
	Who string
}

type seenRow struct {
	httpapi.Acknowledgement
	Who   string
	Stale bool // there is a newer estimate
}

func (v *view) notices(wrong string) (noticesData, error) {
	d := noticesData{Typed: v.typed(), Wrong: wrong, For: v.param("notice")}
	id := v.param("id")
	c, p, banner, err := v.ofCase(id)
	if err != nil {
		return d, err
	}
	d.banner = banner
	list, err := ask[httpapi.NoticeList](v, http.MethodGet, "/v1/procedures/"+escape(id)+"/notices", nil)
	if err != nil {
		return d, err
	}
	for _, n := range list.Notices {
		row := noticeRow{Notice: n, Whole: n.Reference == v.query("show")}
		for _, m := range n.Messages {
			row.Messages = append(row.Messages, messageRow{m, c.name(m.AccountId)})
		}
		d.Notices = append(d.Notices, row)
		if !row.Whole {
			continue
		}
		whole, err := ask[httpapi.NoticeDetail](v, http.MethodGet, "/v1/notices/"+escape(n.Reference)+"?language="+v.lang.Tag(), nil)
		if err != nil {
			return d, err
		}
		d.Shown = &whole
	}
	for _, a := range list.Acknowledgements {
		d.Seen = append(d.Seen, seenRow{a, c.name(a.AccountId), a.Version < p.Version})
	}
	return d, nil
}

// resendNotice has a notice sent once more.
func resendNotice(v *view) (any, error) {
	_, err := ask[httpapi.Notice](v, http.MethodPost, "/v1/notices/"+escape(v.param("notice"))+"/resend", httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/cases/"+escape(v.param("id"))+"/notices?done=notice-again", func(wrong string) (any, error) { return v.notices(wrong) })
}
