package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure/lexicon"
)

func (s *Site) casesPages() []page {
	needs := []access.Operation{"listProcedures", "countProcedures", "getLevels", "listDevices"}
	return []page{{method: http.MethodGet, path: "/cases", title: "cases.title", template: "cases.html", needs: needs, listed: true, serve: showCases}}
}

// casesPage is how many cases a page of the list shows.
const casesPage = 50

// filters are the names of what narrows and sorts the list, in the page's address as in the interface's. None names a patient.
func filters() []string {
	return []string{"from", "to", "room", "class", "flag", "state", "kerma_from_gy", "peak_from_gy"}
}

// casesData is what the list shows.
type casesData struct {
	Rows          []caseRow
	Matching, All int
	Percent       string
	// Chosen are the filters in force, by name.
	Chosen map[string]string
	Chips  []chip
	Order  string
	Orders []sorted
	Rooms  []string
	// Classes are the procedure classes to choose from; Spans the shortcuts of days.
	Classes            []lexicon.Class
	FlagStates, States []string
	Spans              []chip
	Next               string // address of the next page, "" on the last
	First              string // address of the first page, "" on it
	Wrong              string
}

// chip is a filter in force with the address of the list without it, or a shortcut with the address that has it.
type chip struct {
	Name, Value, URL string
	Here             bool
}

// sorted is a column by which the list can be sorted.
type sorted struct {
	Key, URL string
	Here     bool
}

// showCases lists cases as the address says. What cannot be read is said, and the list is then not narrowed by it.
func showCases(v *view) (any, error) {
	q := url.Values{}
	d := casesData{Chosen: map[string]string{}, Order: v.query("order"), Classes: lexicon.Classes(), FlagStates: flagStates(), States: []string{"provisional", "complete", "amended"}}
	for _, name := range filters() {
		if value := v.query(name); value != "" {
			q.Set(name, value)
			d.Chosen[name] = value
		}
	}
	counted, err := ask[httpapi.ProcedureCount](v, http.MethodGet, "/v1/procedure-counts?"+q.Encode(), nil)
	if statusOf(err) == http.StatusBadRequest && err != nil {
		d.Wrong, q, d.Order = v.lang.Text("cases.wrong"), url.Values{}, ""
		counted, err = ask[httpapi.ProcedureCount](v, http.MethodGet, "/v1/procedure-counts", nil)
	}
	if err != nil {
		return nil, err
	}
	d.Matching, d.All = counted.Matching, counted.All
	if d.All > 0 {
		d.Percent = v.lang.Number(100*float64(d.Matching)/float64(d.All), 1)
	}
	if err := v.listed(&d, q); err != nil {
		return nil, err
	}
	devices, err := ask[httpapi.DeviceList](v, http.MethodGet, "/v1/devices", nil)
	if err != nil {
		return nil, err
	}
	for _, one := range devices.Devices {
		if one.Room != "" && !slices.Contains(d.Rooms, one.Room) {
			d.Rooms = append(d.Rooms, one.Room)
		}
	}
	slices.Sort(d.Rooms)
	return d, nil
}

// address gives the list's own address for filters and an order.
func address(filters url.Values, order string, change func(url.Values)) string {
	n := url.Values{}
	for name := range filters {
		n.Set(name, filters.Get(name))
	}
	n.Set("order", order)
	change(n)
	if n.Get("order") == orders()[0] {
		n.Del("order")
	}
	if len(n) == 0 {
		return "/cases"
	}
	return "/cases?" + n.Encode()
}

// choices fills in what one can choose beside the form: filters to take away, orders, shortcuts of days.
func (d *casesData) choices(q url.Values, today time.Time) {
	at := func(change func(url.Values)) string { return address(q, d.Order, change) }
	for _, name := range filters() {
		if value := q.Get(name); value != "" {
			d.Chips = append(d.Chips, chip{Name: name, Value: value, URL: at(func(n url.Values) { n.Del(name) })})
		}
	}
	for _, key := range orders() {
		d.Orders = append(d.Orders, sorted{Key: key, URL: at(func(n url.Values) { n.Set("order", key) }), Here: key == d.Order})
	}
	for _, days := range []int{1, 7, 30, 365} {
		from := today.AddDate(0, 0, 1-days).Format(time.DateOnly)
		d.Spans = append(d.Spans, chip{
			Name: strconv.Itoa(days), Value: from, Here: q.Get("from") == from && q.Get("to") == "",
			URL: at(func(n url.Values) { n.Set("from", from); n.Del("to") }),
		})
	}
}

// listed fills one page of the list and the addresses around it.
func (v *view) listed(d *casesData, q url.Values) error {
	if !slices.Contains(orders(), d.Order) {
		d.Order = orders()[0]
	}
	e, err := v.edges()
	if err != nil {
		return err
	}
	d.choices(q, v.site.cfg.Now().In(v.site.cfg.Zone))
	asked := url.Values{"limit": {strconv.Itoa(casesPage)}, "order": {d.Order}}
	for name := range q {
		asked.Set(name, q.Get(name))
	}
	if after := v.query("after"); after != "" && d.Wrong == "" {
		asked.Set("after", after)
		d.First = address(q, d.Order, func(url.Values) {})
	}
	list, err := ask[httpapi.ProcedurePage](v, http.MethodGet, "/v1/procedures?"+asked.Encode(), nil)
	if err != nil {
		return err
	}
	for _, p := range list.Procedures {
		d.Rows = append(d.Rows, rowOf(p, e))
	}
	if list.Next != nil {
		d.Next = address(q, d.Order, func(n url.Values) { n.Set("after", *list.Next) })
	}
	return nil
}

// orders are what the list can be sorted by, the usual one first.
func orders() []string { return []string{"start", "kerma", "kap", "peak", "effective"} }

// flagStates are the states of a case against its levels, the most urgent first.
func flagStates() []string { return []string{"reached", "near", "unknown", "below"} }
