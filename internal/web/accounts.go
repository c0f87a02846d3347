package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func (s *Site) accountsPages() []page {
	list := []access.Operation{"listAccounts", "listTokens"}
	form := func(path string, op access.Operation, serve func(*view) (any, error)) page {
		return page{method: http.MethodPost, path: path, title: "accounts.title", template: "accounts.html", fresh: true, needs: append(list[:2:2], op), serve: serve}
	}
	pages := []page{
		{method: http.MethodGet, path: "/accounts", title: "accounts.title", template: "accounts.html", listed: true, group: "nav.administration", needs: list, serve: func(v *view) (any, error) { return v.accounts("") }},
		form("/accounts", "addAccount", addAccount),
		form("/accounts/:id/disable", "disableAccount", func(v *view) (any, error) {
			return v.changeAccount("/v1/accounts/{id}/disable", "account-disabled")
		}),
		form("/accounts/:id/tokens", "addToken", makeTokenFor),
		form("/accounts/tokens/:id/revoke", "revokeToken", func(v *view) (any, error) { return v.changeAccount("/v1/tokens/{id}/revoke", "token-revoked") }),
	}
	if !s.cfg.Passwords {
		return pages
	}
	return append(pages, form("/accounts/:id/password-link", "addPasswordLink", makeLink))
}

// accountsData is what an administrator sees.
type accountsData struct {
	Accounts  []accountRow
	Tokens    []httpapi.Token // of programs and people, that still work
	Roles     []access.Role
	Days      []int
	Passwords bool
	// Code is a one-time code for the account For, or its token, shown once; Until is its end and Where the page that takes
	// the code.
	Code, Token, For, Where string
	Until                   time.Time
	Typed                   typed
	Wrong                   string
}

type accountRow struct {
	httpapi.Account
	Rooms   string // in words, "" for every room
	NoCases bool   // the role sees no patient
}

func (v *view) accounts(wrong string) (accountsData, error) {
	d := accountsData{Passwords: v.site.cfg.Passwords, Roles: access.Roles(), Days: tokenDays(), Typed: v.typed(), Wrong: wrong}
	list, err := ask[httpapi.AccountList](v, http.MethodGet, "/v1/accounts", nil)
	if err != nil {
		return d, err
	}
	for _, a := range list.Accounts {
		row := accountRow{Account: a, NoCases: access.Grant{Role: access.Role(a.Role)}.May("listProcedures") != nil}
		if a.Rooms != nil {
			row.Rooms = strings.Join(*a.Rooms, ", ")
		}
		d.Accounts = append(d.Accounts, row)
	}
	tokens, err := ask[httpapi.TokenList](v, http.MethodGet, "/v1/tokens", nil)
	d.Tokens = slices.DeleteFunc(tokens.Tokens, func(t httpapi.Token) bool { return t.RevokedAt != nil || t.ExpiresAt.Before(v.site.cfg.Now()) })
	return d, err
}

// addAccount makes an account. Rooms are typed one a line.
func addAccount(v *view) (any, error) {
	body := httpapi.AccountRequest{Name: v.text("name"), Role: httpapi.AccountRequestRole(v.form("role"))}
	if v.form("own_cases") != "" {
		yes := true
		body.OwnCases = &yes
	}
	var rooms []string
	for line := range strings.Lines(v.form("rooms")) {
		if room := strings.TrimSpace(line); room != "" {
			rooms = append(rooms, room)
		}
	}
	if rooms != nil {
		body.Rooms = &rooms
	}
	_, err := v.call(http.MethodPost, "/v1/accounts", body)
	return v.answered(err, "/accounts?done=account-made", func(wrong string) (any, error) { return v.accounts(wrong) })
}

// changeAccount ends an account or a token, for a reason.
func (v *view) changeAccount(to, done string) (any, error) {
	_, err := v.call(http.MethodPost, withID(to, v.param("id")), httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/accounts?done="+done, func(wrong string) (any, error) { return v.accounts(wrong) })
}

// makeTokenFor makes a token by which a program works as an account.
func makeTokenFor(v *view) (any, error) {
	days, err := strconv.Atoi(v.form("days"))
	if err != nil {
		return nil, &failure{status: http.StatusBadRequest}
	}
	token, err := ask[httpapi.NewToken](v, http.MethodPost, withID("/v1/accounts/{id}/tokens", v.param("id")), httpapi.TokenRequest{Days: days, Purpose: v.text("purpose")})
	if err != nil {
		return v.answered(err, "/accounts", func(wrong string) (any, error) { return v.accounts(wrong) })
	}
	d, err := v.accounts("")
	d.Token, d.For, d.Until = token.Token, token.Account.Name, token.ExpiresAt
	return d, err
}

// makeLink makes a one-time code by which the person of an account sets a password.
func makeLink(v *view) (any, error) {
	link, err := ask[httpapi.PasswordLink](v, http.MethodPost, withID("/v1/accounts/{id}/password-link", v.param("id")), nil)
	if err != nil {
		return nil, err
	}
	d, err := v.accounts("")
	d.Code, d.For, d.Until, d.Where = link.Code, link.Account.Name, link.ExpiresAt, v.site.cfg.PublicURL+"/password"
	return d, err
}
