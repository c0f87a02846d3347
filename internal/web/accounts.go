package web

import (
	"net/http"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func (s *Site) accountsPages() []page {
	list := []access.Operation{"listAccounts"}
	pages := []page{
		{method: http.MethodGet, path: "/accounts", title: "accounts.title", template: "accounts.html", listed: true, group: "nav.administration", needs: list, serve: func(v *view) (any, error) { return v.accounts() }},
	}
	if !s.cfg.Passwords {
		return pages
	}
	return append(pages, page{
		method: http.MethodPost, path: "/accounts/:id/password-link", title: "accounts.title", template: "accounts.html", fresh: true,
		needs: append(list, "addPasswordLink"), serve: makeLink,
	})
}

// accountsData is what an administrator sees.
type accountsData struct {
	Accounts  []accountRow
	Passwords bool
	// Code is a one-time code for the account For, shown once; Until is its end and Where the page that takes it.
	Code, For, Where string
	Until            time.Time
}

type accountRow struct {
	httpapi.Account
	Rooms   string // in words, "" for every room
	NoCases bool   // the role sees no patient
}

func (v *view) accounts() (accountsData, error) {
	d := accountsData{Passwords: v.site.cfg.Passwords}
	list, err := ask[httpapi.AccountList](v, http.MethodGet, "/v1/accounts", nil)
	for _, a := range list.Accounts {
		row := accountRow{Account: a, NoCases: access.Grant{Role: access.Role(a.Role)}.May("listProcedures") != nil}
		if a.Rooms != nil {
			row.Rooms = strings.Join(*a.Rooms, ", ")
		}
		d.Accounts = append(d.Accounts, row)
	}
	return d, err
}

// makeLink makes a one-time code by which the person of an account sets a password.
func makeLink(v *view) (any, error) {
	link, err := ask[httpapi.PasswordLink](v, http.MethodPost, "/v1/accounts/"+v.param("id")+"/password-link", nil)
	if err != nil {
		return nil, err
	}
	d, err := v.accounts()
	d.Code, d.For, d.Until, d.Where = link.Code, link.Account.Name, link.ExpiresAt, v.site.cfg.PublicURL+"/password"
	return d, err
}
