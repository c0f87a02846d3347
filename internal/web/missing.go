package web

import (
	"net/http"
	"net/url"
	"slices"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func missingPages() []page {
	return []page{
		{method: http.MethodGet, path: "/missing", title: "missing.title", template: "missing.html", needs: []access.Operation{"getCompleteness", "listDevices"}, listed: true, group: "nav.quality", serve: showMissing},
	}
}

// missingData is what was performed beside the reports that came.
type missingData struct {
	httpapi.Completeness
	Room, Outcome string
	Rooms         []string
	Outcomes      []string
	// More is where the list goes on, "" at its end.
	More  string
	Wrong string
}

// daysBack is how far back the page looks until somebody says otherwise.
const daysBack = 30

func showMissing(v *view) (any, error) {
	today := v.site.cfg.Now().In(v.site.cfg.Zone)
	asked := func(name, otherwise string) string {
		if text := v.query(name); text != "" {
			return text
		}
		return otherwise
	}
	d := missingData{Room: v.query("room"), Outcome: asked("outcome", "missing"), Outcomes: []string{"missing", "elsewhere", "pending", "unannounced", "excluded", "reported"}}
	d.From, d.To = asked("from", today.AddDate(0, 0, -daysBack).Format(time.DateOnly)), asked("to", today.Format(time.DateOnly))
	q := url.Values{"from": {d.From}, "to": {d.To}, "outcome": {d.Outcome}, "limit": {"100"}}
	if d.Room != "" {
		q.Set("room", d.Room)
	}
	if after := v.query("after"); after != "" {
		q.Set("after", after)
	}
	answer, err := ask[httpapi.Completeness](v, http.MethodGet, "/v1/completeness?"+q.Encode(), nil)
	if d.Wrong = v.refusal(err); err != nil && d.Wrong == "" {
		return nil, err
	}
	if err == nil {
		d.Completeness = answer
	}
	if answer.Next != nil {
		q.Set("after", *answer.Next)
		d.More = "/missing?" + q.Encode()
	}
	devices, err := ask[httpapi.DeviceList](v, http.MethodGet, "/v1/devices", nil)
	for _, one := range devices.Devices {
		if one.Room != "" && !slices.Contains(d.Rooms, one.Room) {
			d.Rooms = append(d.Rooms, one.Room)
		}
	}
	return d, err
}
