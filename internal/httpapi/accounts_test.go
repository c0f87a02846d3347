package httpapi_test

import (
	"context"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// TestFirstAccount walks from the setup token to a physicist's first look.
func TestFirstAccount(t *testing.T) {
	r := newRig(t, nil)
	setup := access.NewSecret()
	offered, err := r.db.OfferSetup(context.Background(), setup.Hash)
	require.NoError(t, err)
	require.True(t, offered)
	body := `{"name":"first admin"}`
	for name, token := range map[string]string{"none": "", "another": access.NewSecret().Text, "its hash": setup.Hash} {
		a := r.ask("POST", "/v1/setup", token, body)
		assert.Equal(t, 401, a.status, name)
		assert.Contains(t, a.header.Get("WWW-Authenticate"), "Bearer")
	}
	assert.Equal(t, 401, r.ask("GET", "/v1/accounts", setup.Text, "").status, "the setup token is for setup alone")
	a := r.ask("POST", "/v1/setup", setup.Text, body)
	require.Equal(t, 201, a.status)
	var admin httpapi.NewToken
	a.into(t, &admin)
	assert.Equal(t, "admin", admin.Account.Role)
	assert.Equal(t, 401, r.ask("POST", "/v1/setup", setup.Text, body).status, "once")

	assert.Equal(t, 403, r.ask("GET", "/v1/procedures", admin.Token, "").status)
	a = r.ask("POST", "/v1/accounts", admin.Token, `{"name":"medical physics","role":"physicist"}`)
	require.Equal(t, 201, a.status)
	var physicist httpapi.Account
	a.into(t, &physicist)
	assert.Nil(t, physicist.Rooms, "every room")
	assert.Equal(t, 409, r.ask("POST", "/v1/accounts", admin.Token, `{"name":"medical physics","role":"physicist"}`).status)
	a = r.ask("POST", "/v1/accounts/"+physicist.Id+"/tokens", admin.Token, `{"purpose":"own desk","days":30}`)
	require.Equal(t, 201, a.status)
	var token httpapi.NewToken
	a.into(t, &token)
	assert.Equal(t, r.clock.Now().Add(30*24*time.Hour), token.ExpiresAt)
	assert.Equal(t, 200, r.ask("GET", "/v1/procedures", token.Token, "").status)

	list := r.ask("GET", "/v1/tokens", admin.Token, "")
	assert.NotContains(t, string(list.body), token.Token, "a secret is shown once")
	assert.NotContains(t, string(list.body), access.Hash(token.Token))
	assert.Contains(t, string(list.body), token.Token[:9])
	assert.NotContains(t, r.log.String(), token.Token[9:])
	var tokens httpapi.TokenList
	list.into(t, &tokens)
	for _, one := range tokens.Tokens {
		if one.Purpose == "own desk" {
			assert.NotNil(t, one.LastUsedAt, "its use was noted")
		}
	}
	assert.Equal(t, 409, r.ask("POST", "/v1/accounts/"+admin.Account.Id+"/disable", admin.Token, reason).status, "an admin stays")
	assert.Equal(t, 204, r.ask("POST", "/v1/accounts/"+physicist.Id+"/disable", admin.Token, reason).status)
	assert.Equal(t, 401, r.ask("GET", "/v1/procedures", token.Token, "").status, "from the next request on")
	assert.Equal(t, 404, r.ask("POST", "/v1/accounts/"+physicist.Id+"/tokens", admin.Token, `{"purpose":"again","days":30}`).status)
	assert.Equal(t, 400, r.ask("POST", "/v1/accounts/"+physicist.Id+"/tokens", admin.Token, `{"purpose":"for ever","days":366}`).status)
	r.clock.Pass(91 * 24 * time.Hour)
	assert.Equal(t, 401, r.ask("GET", "/v1/me", admin.Token, "").status, "tokens end")
}

func TestAccountsWantTheirRooms(t *testing.T) {
	r := newRig(t, nil)
	token, _ := r.account(access.Admin, nil)
	for body, want := range map[string]int{
		`{"name":"a","role":"operator"}`:                               400,
		`{"name":"b","role":"operator","rooms":[]}`:                    400,
		`{"name":"c","role":"operator","rooms":["Hybrid 1"]}`:          201,
		`{"name":"d","role":"service","rooms":["Hybrid 1"]}`:           400,
		`{"name":"e","role":"admin","rooms":["Hybrid 1"]}`:             400,
		`{"name":"f","role":"quality","rooms":["Hybrid 1","Cath 2"]}`:  201,
		`{"name":"g","role":"owner"}`:                                  400,
		`{"name":"","role":"quality"}`:                                 400,
		`{"name":"h","role":"quality","id":"x"}`:                       400,
		`{"name":"` + strings.Repeat("x", 101) + `","role":"quality"}`: 400,
		`[]`:   400,
		`null`: 400,
		`{"name":"i","role":"quality"}` + strings.Repeat(" ", 64<<10):              413,
		`{"name":"j","role":"quality","rooms":` + strings.Repeat("[", 20000) + `}`: 400,
	} {
		assert.Equal(t, want, r.ask("POST", "/v1/accounts", token, body).status, "%.60s", body)
	}
}

func TestTokensTravelInOneHeader(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	for name, values := range map[string][]string{
		"none": nil, "empty": {""}, "no scheme": {token}, "another scheme": {"Basic " + token}, "two": {"Bearer " + token, "Bearer " + token},
		"no token": {"Bearer "}, "two spaces": {"Bearer  " + token},
	} {
		request := httptest.NewRequest("GET", "/v1/me", nil)
		request.Header["Authorization"] = values
		assert.Equal(t, 401, r.send(request).status, name)
	}
	request := httptest.NewRequest("GET", "/v1/me", nil)
	request.Header.Set("Authorization", "bearer "+token)
	assert.Equal(t, 200, r.send(request).status, "the scheme has no case")
	assert.Equal(t, 401, r.ask("GET", "/v1/me?access_token="+token, "", "").status)
}

func TestRefusalsAreAuditedWithinBounds(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.RefusalRate = 1 })
	c := r.procedure(other)
	operator, account := r.account(access.Operator, []string{own})
	before := r.head()
	assert.Equal(t, 401, r.ask("GET", "/v1/me", "ab_"+plantedNumber, "").status)
	assert.Equal(t, 403, r.ask("GET", "/v1/audit", operator, "").status)
	assert.Equal(t, 404, r.ask("GET", "/v1/procedures/"+c.ID, operator, "").status)
	assert.Equal(t, 404, r.ask("GET", "/v1/procedures/aaaaaaaaaaaaaaaaaaaaaaaa", operator, "").status, "not there is no refusal")
	records, err := r.db.AuditAfter(context.Background(), before, 10)
	require.NoError(t, err)
	var got []string
	for _, one := range records {
		require.Equal(t, "request.refuse", one.Action)
		require.Equal(t, "refused", one.Outcome)
		got = append(got, one.Actor+" "+one.Object+": "+one.Reason)
	}
	assert.Equal(t, []string{
		" getMe: no valid token", account.ID + " listAudit: not allowed", account.ID + " getProcedure: outside of the account's rooms",
	}, got)

	before = r.head()
	for range 200 {
		r.ask("GET", "/v1/me", "", "")
	}
	assert.Len(t, r.actions(before), 57, "a burst of 60, 3 of it spent above")
	before = r.head()
	r.clock.Pass(2 * time.Second)
	r.ask("GET", "/v1/me", "", "")
	records, err = r.db.AuditAfter(context.Background(), before, 10)
	require.NoError(t, err)
	require.Len(t, records, 1)
	assert.Equal(t, "no valid token; 143 refusals before it have no record", records[0].Reason)
}

func TestRateLimits(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.TokenRate, c.AddressRate = 2, 5 })
	first, second := r.physicist(), r.physicist()
	from := func(address, token string) answer {
		request := httptest.NewRequest("GET", "/v1/me", nil)
		request.RemoteAddr = address
		request.Header.Set("Authorization", "Bearer "+token)
		return r.send(request)
	}
	for i := range 4 {
		assert.Equal(t, 200, from(fmt.Sprintf("192.0.2.%d:1", i), first).status)
	}
	held := from("192.0.2.9:1", first)
	assert.Equal(t, 429, held.status)
	assert.Equal(t, "1", held.header.Get("Retry-After"))
	assert.Equal(t, 200, from("192.0.2.9:1", second).status, "another token is not held back")
	r.clock.Pass(time.Second)
	assert.Equal(t, 200, from("192.0.2.9:1", first).status)

	// One IPv6 caller owns a whole /64.
	last := 0
	for i := range 11 {
		last = from(fmt.Sprintf("[2001:db8::%x]:1", i+1), "ab_guess").status
	}
	assert.Equal(t, 429, last, "guessing is held back by address")
	assert.Equal(t, 401, from("[2001:db8:0:1::1]:1", "ab_guess").status, "another network is not")
}

func TestAddressBehindAProxy(t *testing.T) {
	for behind, want := range map[bool]string{true: "198.51.100.7", false: "192.0.2.1"} {
		r := newRig(t, func(c *httpapi.Config) { c.BehindProxy = behind })
		before := r.head()
		request := httptest.NewRequest("GET", "/v1/me", nil) // from 192.0.2.1
		request.Header.Add("X-Forwarded-For", "203.0.113.5")
		request.Header.Add("X-Forwarded-For", "203.0.113.6, 198.51.100.7")
		r.send(request)
		records, err := r.db.AuditAfter(context.Background(), before, 10)
		require.NoError(t, err)
		require.Len(t, records, 1)
		assert.Equal(t, want, records[0].Source)
	}
}

func TestAuditList(t *testing.T) {
	r := newRig(t, nil)
	r.procedure(own)
	token, _ := r.account(access.Auditor, nil)
	var got []int64
	path := "/v1/audit?limit=3"
	for path != "" {
		var p httpapi.AuditPage
		r.ask("GET", path, token, "").into(t, &p)
		for _, one := range p.Records {
			got = append(got, one.Sequence)
		}
		path = ""
		if p.Next != nil {
			path = fmt.Sprintf("/v1/audit?limit=3&after=%d", *p.Next)
		}
	}
	for i, sequence := range got {
		assert.Equal(t, int64(i+1), sequence)
	}
	assert.Len(t, got, int(r.head()))
	var v httpapi.AuditVerification
	r.ask("GET", "/v1/audit/verification", token, "").into(t, &v)
	assert.True(t, v.Sound)
	assert.Equal(t, r.head(), v.Records)
	_, err := r.db.Anchor(context.Background())
	require.NoError(t, err)
	r.ask("GET", "/v1/audit/verification", token, "").into(t, &v)
	assert.Contains(t, v.Detail, fmt.Sprintf("the anchor is record %d", r.head()))
}

func TestReadiness(t *testing.T) {
	r := newRig(t, nil)
	assert.Equal(t, 204, r.ask("GET", "/readyz", "", "").status)
	r.rebuild(full{r.db})
	a := r.ask("GET", "/readyz", "", "")
	assert.Equal(t, 503, a.status)
	assert.Empty(t, a.body, "no detail")
	assert.Equal(t, 204, r.ask("GET", "/healthz", "", "").status)
}

// full is a store that takes nothing now.
type full struct{ *store.DB }

func (full) Ready(context.Context) error { return store.ErrUnavailable }
