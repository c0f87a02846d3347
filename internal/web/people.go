package web

import (
	"net/http"
	"slices"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func peoplePages() []page {
	see := []access.Operation{"listPeople", "listAccounts", "listFallbacks", "listDevices"}
	with := func(op access.Operation) []access.Operation { return append(slices.Clone(see), op) }
	show := func(v *view) (any, error) { return v.people("") }
	return []page{
		{method: http.MethodGet, path: "/people", title: "people.title", template: "people.html", needs: see, listed: true, group: "nav.administration", serve: show},
		{method: http.MethodPost, path: "/people", title: "people.title", template: "people.html", needs: with("assignPerson"), serve: assignPeople},
		{method: http.MethodPost, path: "/people/:id/unassign", title: "people.title", template: "people.html", needs: with("unassignPerson"), serve: unassignPerson},
		{method: http.MethodPost, path: "/people/fallback", title: "people.title", template: "people.html", needs: with("setFallback"), serve: setFallback},
	}
}

// peoplePage is how many persons a page lists.
const peoplePage = "100"

// peopleData is who took part by the reports, and whose account each is.
type peopleData struct {
	Without, With []personRow
	// More are the cursors of further persons, "" for none; After that of the page.
	MoreWithout, MoreWith, After string
	Accounts                     []httpapi.Account // that can be a person's
	Fallbacks                    []fallbackRow
	Rooms                        []string
	Typed                        typed
	Wrong                        string
}

// personRow is a person with the name of the account.
type personRow struct {
	httpapi.Person
	Called, Account string
}

// fallbackRow is who hears of a room's cases where nobody of them has an account.
type fallbackRow struct {
	httpapi.Fallback
	Account string
}

// accountName gives the name of an account, and that it ended where it did.
func accountName(v *view, all []httpapi.Account, id string) string {
	for _, a := range all {
		switch {
		case a.Id != id:
		case a.DisabledAt != nil:
			return v.lang.Text("followup.former", "name", a.Name)
		default:
			return a.Name
		}
	}
	return v.lang.Text("followup.somebody")
}

// personCalled writes a name of a report for people, or what stands for one.
func personCalled(p httpapi.Person) string {
	for _, name := range []string{strings.Join(strings.FieldsFunc(p.Name, func(r rune) bool { return r == '^' || r == ' ' }), " "), p.Login, p.Number} {
		if name != "" {
			return name
		}
	}
	return p.Id
}

func (v *view) people(wrong string) (peopleData, error) {
	d := peopleData{Typed: v.typed(), Wrong: wrong, After: v.query("without")}
	accounts, err := ask[httpapi.AccountList](v, http.MethodGet, "/v1/accounts", nil)
	if err != nil {
		return d, err
	}
	for _, a := range accounts.Accounts {
		if role := access.Role(a.Role); a.DisabledAt == nil && (role == access.Operator || role == access.Physicist) {
			d.Accounts = append(d.Accounts, a)
		}
	}
	if d.Without, d.MoreWithout, err = v.persons(accounts.Accounts, "false", d.After); err != nil {
		return d, err
	}
	if d.With, d.MoreWith, err = v.persons(accounts.Accounts, "true", v.query("with")); err != nil {
		return d, err
	}
	return d, v.fallbacks(&d, accounts.Accounts)
}

// persons lists those with or without an account.
func (v *view) persons(accounts []httpapi.Account, has, after string) (rows []personRow, next string, err error) {
	path := "/v1/people?limit=" + peoplePage + "&has_account=" + has
	if after != "" {
		path += "&after=" + escape(after)
	}
	list, err := ask[httpapi.PersonPage](v, http.MethodGet, path, nil)
	for _, p := range list.People {
		row := personRow{Person: p, Called: personCalled(p)}
		if p.AccountId != nil {
			row.Account = accountName(v, accounts, *p.AccountId)
		}
		rows = append(rows, row)
	}
	if list.Next != nil {
		next = *list.Next
	}
	return rows, next, err
}

func (v *view) fallbacks(d *peopleData, accounts []httpapi.Account) error {
	list, err := ask[httpapi.FallbackList](v, http.MethodGet, "/v1/rooms/fallbacks", nil)
	if err != nil {
		return err
	}
	for _, f := range list.Fallbacks {
		d.Fallbacks = append(d.Fallbacks, fallbackRow{f, accountName(v, accounts, f.AccountId)})
		d.Rooms = append(d.Rooms, f.Room)
	}
	devices, err := ask[httpapi.DeviceList](v, http.MethodGet, "/v1/devices", nil)
	for _, one := range devices.Devices {
		if one.Room != "" {
			d.Rooms = append(d.Rooms, one.Room)
		}
	}
	slices.Sort(d.Rooms)
	d.Rooms = slices.Compact(d.Rooms)
	return err
}

// assignPeople gives each person for whom an account was chosen that account, one after the other. What was done before one is
// refused stays done, and the page says so.
func assignPeople(v *view) (any, error) {
	again := func(wrong string) (any, error) {
		data, err := v.people(wrong)
		return shown{http.StatusUnprocessableEntity, data}, err
	}
	chosen := 0
	for _, name := range fieldsOf(v.c.Request().PostForm) {
		id, is := strings.CutPrefix(name, "account-")
		account := v.form(name)
		if !is || account == "" {
			continue
		}
		_, err := v.call(http.MethodPost, "/v1/people/"+escape(id)+"/assign", httpapi.AssignRequest{AccountId: account, Reason: v.text("reason")})
		if wrong := v.refusal(err); wrong != "" {
			return again(wrong + " " + v.lang.Count("people.before", chosen))
		}
		if err != nil {
			return nil, err
		}
		chosen++
	}
	if chosen == 0 {
		return again(v.lang.Text("people.none_chosen"))
	}
	return redirect("/people?done=people-assigned"), nil
}

// fieldsOf lists the fields of a form in a fixed order.
func fieldsOf(form map[string][]string) []string {
	names := make([]string, 0, len(form))
	for name := range form {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func unassignPerson(v *view) (any, error) {
	_, err := v.call(http.MethodPost, "/v1/people/"+escape(v.param("id"))+"/unassign", httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/people?done=people-unassigned", func(wrong string) (any, error) { return v.people(wrong) })
}

func setFallback(v *view) (any, error) {
	body := httpapi.FallbackRequest{Room: v.text("room"), AccountId: v.optional("fallback"), Reason: v.text("fallback_reason")}
	_, err := v.call(http.MethodPost, "/v1/rooms/fallbacks", body)
	return v.answered(err, "/people?done=people-fallback", func(wrong string) (any, error) { return v.people(wrong) })
}
