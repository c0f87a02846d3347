package web

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func (s *Site) todayPages() []page {
	needs := []access.Operation{"listProcedures", "getLevels", "listAsks", "listDevices", "listSilentDevices"}
	return []page{{method: http.MethodGet, path: "/today", title: "today.title", template: "today.html", needs: needs, listed: true, serve: showToday}}
}

// Bounds of what the page shows at once; what is beyond them is said and linked.
const (
	todayCases = 100
	todayAsks  = 50
	// askDays is how far ahead asks are shown.
	askDays = 7
	// earlierCases are shown of before yesterday when nothing came since.
	earlierCases = 10
)

// todayData is what is new since yesterday and what waits.
type todayData struct {
	From, To string // local days
	// Flagged reached a level, are near one or cannot be told; Others are below all levels.
	Flagged, Others []caseRow
	MoreCases       bool
	// Earlier are the newest before that, where nothing came since yesterday.
	Earlier  []caseRow
	Asks     []httpapi.Ask
	MoreAsks bool
	Mine     bool
	Rooms    []room
	// Refused is how many files wait in quarantine; Sees tells whether the person may know.
	Refused     int
	RefusedMore bool
	Sees        bool
}

// room is where equipment stands that sends reports.
type room struct {
	Name    string
	Last    *time.Time // when its newest report came, nil when none did
	Today   int        // cases since yesterday
	Devices []device
}

// device is one of a room, with whether it is silent for longer than is its habit.
type device struct {
	Name   string
	Silent bool
	Last   *time.Time
}

func showToday(v *view) (any, error) {
	d, err := v.waitingAsks()
	if err != nil {
		return nil, err
	}
	perRoom, err := v.newCases(&d)
	if err != nil {
		return nil, err
	}
	if d.Rooms, err = v.rooms(perRoom); err != nil {
		return nil, err
	}
	if d.Sees = v.grant.May("listQuarantine") == nil; d.Sees {
		q, err := ask[httpapi.ReceiptPage](v, http.MethodGet, "/v1/quarantine?limit="+strconv.Itoa(todayCases), nil)
		if err != nil {
			return nil, err
		}
		d.Refused, d.RefusedMore = len(q.Receipts), q.Next != nil
	}
	return d, nil
}

// newCases fills in the cases since yesterday, and gives how many each room had.
func (v *view) newCases(d *todayData) (map[string]int, error) {
	e, err := v.edges()
	if err != nil {
		return nil, err
	}
	q := url.Values{"from": {d.From}, "to": {d.To}, "limit": {strconv.Itoa(todayCases)}}
	list, err := ask[httpapi.ProcedurePage](v, http.MethodGet, "/v1/procedures?"+q.Encode(), nil)
	if err != nil {
		return nil, err
	}
	d.MoreCases = list.Next != nil
	if len(list.Procedures) == 0 {
		before, err := ask[httpapi.ProcedurePage](v, http.MethodGet, "/v1/procedures?limit="+strconv.Itoa(earlierCases), nil)
		for _, p := range before.Procedures {
			d.Earlier = append(d.Earlier, rowOf(p, e))
		}
		return nil, err
	}
	perRoom := map[string]int{}
	for _, p := range list.Procedures {
		perRoom[p.Room]++
		r := rowOf(p, e)
		if p.Flag == "below" || p.Flag == "none" {
			d.Others = append(d.Others, r)
			continue
		}
		d.Flagged = append(d.Flagged, r)
	}
	urgency := func(r caseRow) int { return slices.Index(flagStates(), string(r.Flag)) }
	slices.SortStableFunc(d.Flagged, func(a, b caseRow) int { return cmp.Compare(urgency(a), urgency(b)) })
	return perRoom, nil
}

// waitingAsks gives what is due soon or overdue, of an operator the own ones, and the day: that by which asks are overdue, so
// that the page agrees with them.
func (v *view) waitingAsks() (d todayData, err error) {
	q := url.Values{"state": {"open"}, "limit": {strconv.Itoa(todayAsks)}}
	if d.Mine = v.grant.Role == access.Operator; d.Mine {
		q.Set("mine", "true")
	}
	list, err := ask[httpapi.AskPage](v, http.MethodGet, "/v1/asks?"+q.Encode(), nil) // the earliest due day first
	if err != nil {
		return d, err
	}
	today, err := time.Parse(time.DateOnly, list.Today)
	if err != nil {
		return d, fmt.Errorf("day of the site: %w", err)
	}
	d.From, d.To = today.AddDate(0, 0, -1).Format(time.DateOnly), list.Today
	last := today.AddDate(0, 0, askDays).Format(time.DateOnly)
	for _, a := range list.Asks {
		if a.Due <= last {
			d.Asks = append(d.Asks, a)
		}
	}
	d.MoreAsks = list.Next != nil && len(d.Asks) == len(list.Asks)
	return d, nil
}

// rooms gathers the equipment by room, with what came last and what is silent.
func (v *view) rooms(cases map[string]int) ([]room, error) {
	all, err := ask[httpapi.DeviceList](v, http.MethodGet, "/v1/devices", nil)
	if err != nil {
		return nil, err
	}
	watched, err := ask[httpapi.SilentDevices](v, http.MethodGet, "/v1/devices/silent", nil)
	if err != nil {
		return nil, err
	}
	silent := map[string]bool{}
	for _, w := range watched.Silent {
		silent[w.Device.Id] = true
	}
	byName := map[string]*room{}
	for _, one := range all.Devices {
		r := byName[one.Room]
		if r == nil {
			r = &room{Name: one.Room, Today: cases[one.Room]}
			byName[one.Room] = r
		}
		r.Devices = append(r.Devices, device{Name: called(one), Silent: silent[one.Id], Last: one.LastReceivedAt})
		if one.LastReceivedAt != nil && (r.Last == nil || one.LastReceivedAt.After(*r.Last)) {
			r.Last = one.LastReceivedAt
		}
	}
	list := make([]room, 0, len(byName))
	for _, r := range byName {
		list = append(list, *r)
	}
	slices.SortFunc(list, func(a, b room) int { return strings.Compare(a.Name, b.Name) })
	return list, nil
}
