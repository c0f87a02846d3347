package web

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
)

// eventsAPage is how many events a page of the table has.
const eventsAPage = 40

// caseEvents is one page of the table of events.
type caseEvents struct {
	Rows  []eventRow
	Total int
	// First and Last are the places in the sorted list, from 1; Page and Pages count from 1.
	First, Last, Page, Pages int
	Sort                     string
	// Columns are the sortable ones.
	Columns []eventColumn
	// All are numbers of every event for the map's readout, in the order of the case.
	All []eventRow
}

type eventColumn struct {
	Key    string
	Number bool // set to the right
	Sorted bool
}

// eventRow is one event. Printed numbers are "" where the report has none.
type eventRow struct {
	httpapi.Event
	Number                               int // in the order of time, from 1
	Clock, Kerma, KAP, Turn, Tilt, Volts string
	// Share is the part of the peak dose, "" where the beam gave nothing there.
	Share string
	share float64
}

func eventColumns() []string {
	return []string{"number", "plane", "type", "protocol", "kerma", "kap", "primary", "secondary", "voltage", "share"}
}

// caseCourse asks for the events: the line of time and the table.
func (v *view) caseCourse(path string, d *caseData) error {
	if !d.May["listEvents"] {
		return nil
	}
	list, err := ask[httpapi.EventList](v, http.MethodGet, path+"/events", nil)
	if err != nil {
		return err
	}
	type key struct{ place, uid string }
	shares := map[key]float64{}
	for _, c := range d.Case.SkinDose.Contributions {
		shares[key{c.Event, c.UID}] += c.Share
	}
	rows := make([]eventRow, 0, len(list.Events))
	for i, e := range list.Events {
		rows = append(rows, v.eventRow(i, e, shares[key{e.Place, e.Uid}]))
	}
	d.Line = newCaseLine(rows)
	d.Events = pageOfEvents(rows, v.query("sort"), v.query("page"))
	return nil
}

func (v *view) eventRow(i int, e httpapi.Event, share float64) eventRow {
	r := eventRow{Event: e, Number: i + 1, share: share}
	if e.Start != nil {
		r.Clock = e.Start.In(v.site.cfg.Zone).Format("15:04:05")
	}
	if e.KermaGy != nil {
		r.Kerma = v.measure(quantity.Figures(*e.KermaGy*1000, 3))
	}
	if e.KapGyCm2 != nil {
		r.KAP = v.measure(quantity.Figures(*e.KapGyCm2, 3))
	}
	r.Turn, r.Tilt = v.angle(e.PrimaryDeg, "RAO", "LAO"), v.angle(e.SecondaryDeg, "CAU", "CRA")
	if e.Kilovolt != nil {
		r.Volts = v.measure(quantity.Fixed(*e.Kilovolt, 1))
	}
	if share > 0 {
		r.Share = v.percent(share)
	}
	return r
}

// angle names an angle by its side.
func (v *view) angle(degrees *float64, below, above string) string {
	if degrees == nil {
		return ""
	}
	text := v.measure(quantity.Fixed(math.Abs(*degrees), 1)) + "°"
	switch {
	case *degrees < 0:
		return below + "\u00a0" + text
	case *degrees > 0:
		return above + "\u00a0" + text
	}
	return text
}

// percent prints a share; what is less than a tenth of a percent is not told as none.
func (v *view) percent(share float64) string {
	const least = 0.001
	if share < least {
		return "< " + v.measure("0.1 %")
	}
	return v.measure(quantity.Fixed(100*share, 1) + " %")
}

// pageOfEvents sorts and cuts the table. What cannot be a sort or a page is the first.
func pageOfEvents(all []eventRow, sort, number string) caseEvents {
	t := caseEvents{Total: len(all), All: all, Sort: strings.TrimPrefix(sort, "-"), Pages: max(1, (len(all)+eventsAPage-1)/eventsAPage)}
	if !slices.Contains(eventColumns(), t.Sort) {
		t.Sort = "number"
	}
	for _, k := range eventColumns() {
		t.Columns = append(t.Columns, eventColumn{k, slices.Contains([]string{"number", "kerma", "kap", "voltage", "share"}, k), k == t.Sort})
	}
	rows := slices.Clone(all)
	slices.SortStableFunc(rows, eventOrder(t.Sort))
	t.Page = 1
	if n, err := strconv.Atoi(number); err == nil {
		t.Page = min(max(n, 1), t.Pages)
	}
	first := (t.Page - 1) * eventsAPage
	t.Rows = rows[first:min(first+eventsAPage, len(rows))]
	t.First, t.Last = first+min(1, len(rows)), first+len(t.Rows)
	return t
}

// eventOrder sorts words upward and quantities downward, so that what matters comes first; what is missing comes last.
func eventOrder(column string) func(a, b eventRow) int {
	falling := func(of func(eventRow) *float64) func(a, b eventRow) int {
		return func(a, b eventRow) int {
			x, y := of(a), of(b)
			switch {
			case x == nil || y == nil:
				return cmp.Compare(present(y), present(x))
			}
			return cmp.Compare(*y, *x)
		}
	}
	switch column {
	case "plane":
		return func(a, b eventRow) int { return cmp.Compare(a.Plane, b.Plane) }
	case "type":
		return func(a, b eventRow) int { return cmp.Compare(a.Type, b.Type) }
	case "protocol":
		return func(a, b eventRow) int { return cmp.Compare(a.Protocol, b.Protocol) }
	case "kerma":
		return falling(func(r eventRow) *float64 { return r.KermaGy })
	case "kap":
		return falling(func(r eventRow) *float64 { return r.KapGyCm2 })
	case "primary":
		return falling(func(r eventRow) *float64 { return r.PrimaryDeg })
	case "secondary":
		return falling(func(r eventRow) *float64 { return r.SecondaryDeg })
	case "voltage":
		return falling(func(r eventRow) *float64 { return r.Kilovolt })
	case "share":
		return falling(func(r eventRow) *float64 { return &r.share })
	}
	return func(a, b eventRow) int { return cmp.Compare(a.Number, b.Number) }
}

func present(p *float64) int {
	if p == nil {
		return 0
	}
	return 1
}

// Link is the address of another page or order of the table.
func (t caseEvents) Link(sort string, page int) string {
	return fmt.Sprintf("?sort=%s&page=%d#events", sort, page)
}

// Next and Before are the pages beside this one, 0 for none.
func (t caseEvents) Next() int {
	if t.Page < t.Pages {
		return t.Page + 1
	}
	return 0
}

func (t caseEvents) Before() int { return t.Page - 1 }

// Brief tells the events to the script of the map: type, angles and kerma in mGy, by number.
func (t caseEvents) Brief() string {
	var b strings.Builder
	for i, r := range t.All {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(strings.Join([]string{r.Turn, r.Tilt, r.Kerma}, "\t"))
	}
	return b.String()
}
