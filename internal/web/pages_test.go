package web_test

import (
	"context"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
	"afterbeam/internal/web"
	"afterbeam/internal/wording"
)

// site gives the pages alone, for their list.
func (r *rig) site() *web.Site {
	r.t.Helper()
	s, err := web.New(web.Config{API: r.api, Store: r.db, Now: r.clock.Now, Logger: nothingLogged(), Passwords: true, Cost: cheap(), Issuer: &issuer{}})
	require.NoError(r.t, err)
	return s
}

func concrete(route string) (method, path string) {
	method, path, _ = strings.Cut(route, " ")
	return method, regexp.MustCompile(`:[a-z]+`).ReplaceAllString(path, "aaaaaaaaaaaaaaaaaaaaaaaa")
}

// TestNoPageWithoutSomebodySignedIn asks for every page as a stranger.
func TestNoPageWithoutSomebodySignedIn(t *testing.T) {
	r := newRig(t, func(c *web.Config) { c.Issuer = &issuer{} })
	for route, open := range r.site().Routes() {
		method, path := concrete(route)
		v := r.visitor()
		p := v.ask(method, path, nil, "Sec-Fetch-Site", "same-origin")
		switch {
		case open:
			assert.NotContains(t, p.location, "/sign-in?next", route)
		case method == http.MethodGet:
			assert.Equal(t, "/sign-in?next="+strings.ReplaceAll(path, "/", "%2F"), p.location, route)
		default:
			assert.Equal(t, http.StatusUnauthorized, p.status, route)
		}
	}
}

// TestNoOtherSiteChangesAnything sends every form from other places.
func TestNoOtherSiteChangesAnything(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	before := len(r.actions())
	for route := range r.site().Routes() {
		method, path := concrete(route)
		if method == http.MethodGet {
			continue
		}
		for _, headers := range [][]string{
			{"Sec-Fetch-Site", "cross-site"},
			{"Sec-Fetch-Site", "same-site"},
			{"Origin", "https://other.example"},
			{"Origin", "null"},
			{"Origin", r.server.URL + ".other.example"},
		} {
			assert.Equal(t, http.StatusForbidden, v.ask(method, path, nil, headers...).status, "%s %v", route, headers)
		}
	}
	assert.Len(t, r.actions(), before, "nothing was done")
	assert.Equal(t, http.StatusOK, v.get("/me").status)
}

// TestNoGetChangesAnything asks for every page and looks whether anything was recorded.
func TestNoGetChangesAnything(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	before := len(r.actions())
	for route := range r.site().Routes() {
		if method, path := concrete(route); method == http.MethodGet && !strings.Contains(path, "openid") {
			v.get(path)
		}
	}
	changes := slices.DeleteFunc(r.actions(), func(a string) bool { return a == "request.refuse refused" })
	assert.Len(t, changes, before, "a refusal is recorded and changes nothing")
}

func TestHeadersOfEveryPage(t *testing.T) {
	for name, secure := range map[string]bool{"over HTTPS": true, "on this machine alone": false} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, func(c *web.Config) { c.Secure = secure })
			r.person(access.Admin, anyone, words)
			v := r.visitor()
			v.signIn(anyone, words)
			paths := []string{"/nowhere", "/static/none.css"}
			for route := range r.site().Routes() {
				if method, path := concrete(route); method == http.MethodGet {
					paths = append(paths, path)
				}
			}
			for _, path := range paths {
				h := v.get(path).header
				policy := h.Get("Content-Security-Policy")
				for _, part := range []string{"default-src 'none'", "script-src 'self'", "object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'"} {
					assert.Contains(t, policy, part, path)
				}
				assert.NotContains(t, policy, "unsafe", path)
				assert.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
				assert.Equal(t, "no-store", h.Get("Cache-Control"), path)
				assert.Equal(t, "same-origin", h.Get("Referrer-Policy"), path)
				assert.Equal(t, "same-origin", h.Get("Cross-Origin-Opener-Policy"), path)
				assert.NotEmpty(t, h.Get("Permissions-Policy"), path)
				assert.Equal(t, secure, h.Get("Strict-Transport-Security") != "", path)
			}
		})
	}
}

// TestNothingInlineAndNothingFromElsewhere reads the templates: the policy would stop it, and the page would be broken.
func TestNothingInlineAndNothingFromElsewhere(t *testing.T) {
	files, err := filepath.Glob("templates/*.html")
	require.NoError(t, err)
	for _, name := range files {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, pattern := range []string{`<style`, `\sstyle=`, `\son[a-z]+=`, `<script>`, `javascript:`, `(src|href)="(https?:)?//`} {
			assert.NotRegexp(t, regexp.MustCompile(pattern), string(text), name)
		}
	}
}

// TestEveryTextIsThere looks for the keys that templates and pages name.
func TestEveryTextIsThere(t *testing.T) {
	book, err := wording.Load(os.DirFS("language"))
	require.NoError(t, err)
	named := regexp.MustCompile(`(?:\.T|\.Text|Text|title:|key:) \(?"([a-z0-9_]+\.[a-z0-9_.-]+)"|lang\.Text\("([^"]+)"\)`)
	require.NoError(t, fs.WalkDir(os.DirFS("."), ".", func(name string, _ fs.DirEntry, err error) error {
		if err != nil || strings.HasSuffix(name, "_test.go") || !strings.HasSuffix(name, ".go") && !strings.HasSuffix(name, ".html") {
			return err
		}
		text, err := os.ReadFile(name)
		for _, found := range named.FindAllStringSubmatch(string(text), -1) {
			assert.True(t, book.In("en").Has(found[1]+found[2]), "%s names %s%s", name, found[1], found[2])
		}
		return err
	}))
}

func TestRolesSeeTheirPages(t *testing.T) {
	r := newRig(t, nil)
	for role, want := range map[access.Role]int{access.Admin: http.StatusOK, access.Physicist: http.StatusForbidden, access.Auditor: http.StatusForbidden} {
		r.person(role, string(role), words)
		v := r.visitor()
		v.signIn(string(role), words)
		assert.Equal(t, want, v.get("/accounts").status, role)
		assert.Equal(t, want == http.StatusOK, strings.Contains(v.get("/me").body, `href="/accounts"`), role)
	}
	assert.Contains(t, r.actions(), "request.refuse refused")
}

// TestAOneTimeCode has an administrator make a code and the person set a password by it, once.
func TestAOneTimeCode(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, "admin", words)
	a, err := r.db.AddAccount(context.Background(), store.System("test"), anyone, "physicist", nil)
	require.NoError(t, err)
	admin, v := r.visitor(), r.visitor()
	admin.signIn("admin", words)
	p := admin.post("/accounts/"+a.ID+"/password-link", "from", "/accounts")
	require.Equal(t, http.StatusOK, p.status, p.body)
	code := regexp.MustCompile(`<code id="code">([a-z2-7]+)</code>`).FindStringSubmatch(p.body)[1]
	for text, want := range map[string]string{"short": "too short", anyone + "12345678": "hardly more than the account name", "aaaaaaaaaaaaaaaa": "over and over"} {
		assert.Contains(t, v.post("/password", "code", code, "password", text, "again", text).body, want)
	}
	assert.Contains(t, v.post("/password", "code", code, "password", words, "again", words+"x").body, "differ")
	assert.Contains(t, v.post("/password", "code", "aaaa", "password", words, "again", words).body, "of no use")
	assert.Equal(t, "/sign-in?done=password-set", v.post("/password", "code", code, "password", words, "again", words).location)
	assert.Contains(t, v.post("/password", "code", code, "password", words, "again", words).body, "of no use", "once")
	v.signIn(anyone, words)
	assert.NotContains(t, r.log.String(), code)
	late := admin.post("/accounts/"+a.ID+"/password-link", "from", "/accounts")
	code = regexp.MustCompile(`<code id="code">([a-z2-7]+)</code>`).FindStringSubmatch(late.body)[1]
	r.clock.Pass(49 * time.Hour)
	assert.Contains(t, v.post("/password", "code", code, "password", words, "again", words).body, "of no use", "after two days")
}

// TestWhatHelpsAThiefWantsProof makes a token some time after signing in.
func TestWhatHelpsAThiefWantsProof(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	r.clock.Pass(6 * time.Minute)
	p := v.post("/me/tokens", "purpose", "x", "days", "7", "from", "/me")
	assert.Equal(t, "/confirm?next=%2Fme", p.location)
	assert.Equal(t, http.StatusUnprocessableEntity, v.post("/confirm", "password", "wrong", "next", "/me").status)
	assert.Equal(t, "/me", v.post("/confirm", "password", words, "next", "/me").location)
	p = v.post("/me/tokens", "purpose", "x", "days", "7", "from", "/me")
	token := regexp.MustCompile(`ab_[a-z2-7]{32}`).FindString(p.body)
	require.NotEmpty(t, token)
	assert.Equal(t, http.StatusOK, r.visitor().get("/v1/me", "Authorization", "Bearer "+token).status)
	assert.NotContains(t, v.get("/me").body, token, "shown once")
	id := regexp.MustCompile(`/me/tokens/([a-z2-7]{24})/revoke`).FindStringSubmatch(v.get("/me").body)[1]
	r.person(access.Physicist, "paul", words)
	his := r.visitor()
	his.signIn("paul", words)
	assert.Equal(t, http.StatusNotFound, his.post("/me/tokens/"+id+"/revoke").status)
	assert.Equal(t, "/me?done=token-revoked", v.post("/me/tokens/"+id+"/revoke").location)
	assert.Equal(t, http.StatusUnauthorized, r.visitor().get("/v1/me", "Authorization", "Bearer "+token).status)
	assert.Equal(t, http.StatusUnprocessableEntity, v.post("/me/tokens", "purpose", "x", "days", "4000", "from", "/me").status)
}

// TestTheFirstAdministrator spends the token that the service prints at its first start.
func TestTheFirstAdministrator(t *testing.T) {
	r := newRig(t, nil)
	secret := access.NewSecret()
	_, err := r.db.OfferSetup(context.Background(), secret.Hash)
	require.NoError(t, err)
	v := r.visitor()
	assert.Contains(t, v.post("/first", "token", "ab_no", "account", "first", "password", words, "again", words).body, "of no use")
	p := v.post("/first", "token", secret.Text, "account", "first", "password", words, "again", words)
	require.Equal(t, http.StatusOK, p.status, p.body)
	assert.Contains(t, p.body, "You are signed in as an administrator")
	assert.Equal(t, "/accounts", v.get("/").location)
	assert.Contains(t, v.post("/first", "token", secret.Text, "account", "second", "password", words, "again", words).body, "of no use", "once")
	r.visitor().signIn("first", words)
}

func TestFailuresAreReadable(t *testing.T) {
	r := newRig(t, nil)
	v := r.visitor()
	p := v.get("/nowhere", "Accept-Language", "de-CH, en;q=0.5")
	assert.Equal(t, http.StatusNotFound, p.status)
	assert.Contains(t, p.body, "Hier ist nichts")
	assert.Contains(t, p.body, p.header.Get("X-Request-Id"))
	assert.Equal(t, "application/problem+json", v.get("/v1/nowhere").header.Get("Content-Type"), "programs get problems as before")
	large := v.post("/sign-in", "account", strings.Repeat("x", 100_000))
	assert.Equal(t, http.StatusRequestEntityTooLarge, large.status)
	assert.Contains(t, large.body, "too large")
}

func TestLookIsKept(t *testing.T) {
	r := newRig(t, nil)
	v := r.visitor()
	assert.Equal(t, "/sign-in", v.post("/look", "language", "de", "from", "/sign-in").location)
	assert.Contains(t, v.get("/sign-in").body, `<html lang="de">`)
	v.post("/look", "theme", "dark", "from", "/sign-in")
	assert.Contains(t, v.get("/sign-in").body, `<html lang="de" data-theme="dark">`)
	v.post("/look", "theme", "system", "language", "xx", "from", "//other.example")
	assert.Contains(t, v.get("/sign-in").body, `<html lang="de">`)
}
