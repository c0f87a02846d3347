package web_test

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"log/slog"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/access/openid"
	"afterbeam/internal/store"
	"afterbeam/internal/web"
)

func nothingLogged() *slog.Logger { return slog.New(slog.DiscardHandler) }

// issuer stands for one where only its presence matters.
type issuer struct{}

func (*issuer) Label() string { return "Somewhere" }
func (*issuer) Begin(context.Context, string, string, string, bool) (string, error) {
	return "", openid.ErrUnreachable
}

func (*issuer) Finish(context.Context, string, string, string) (openid.Identity, error) {
	return openid.Identity{}, openid.ErrUnreachable
}

// fake is an issuer of OpenID Connect whose answers a test may forge.
type fake struct {
	t         *testing.T
	server    *httptest.Server
	key       *rsa.PrivateKey
	now       func() time.Time
	challenge string          // of the code that was given out
	nonce     string          // asked for
	claims    map[string]any  // over the right ones
	algorithm string          // RS256, none, HS256
	other     *rsa.PrivateKey // signs in place of key
}

func newFake(t *testing.T, now func() time.Time) *fake {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	require.NoError(t, err)
	f := &fake{t: t, key: key, now: now, claims: map[string]any{}, algorithm: "RS256"}
	mux := http.NewServeMux()
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		f.write(w, map[string]any{
			"issuer": f.server.URL, "authorization_endpoint": f.server.URL + "/authorise", "token_endpoint": f.server.URL + "/token",
			"jwks_uri": f.server.URL + "/keys", "id_token_signing_alg_values_supported": []string{"RS256"},
		})
	})
	mux.HandleFunc("/keys", func(w http.ResponseWriter, _ *http.Request) {
		f.write(w, map[string]any{"keys": []any{map[string]string{
			"kty": "RSA", "alg": "RS256", "use": "sig", "kid": "one", "n": encoded(f.key.N.Bytes()), "e": encoded(big.NewInt(int64(f.key.E)).Bytes()),
		}}})
	})
	mux.HandleFunc("/token", f.token)
	f.server = httptest.NewServer(mux)
	t.Cleanup(f.server.Close)
	return f
}

func encoded(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

func (f *fake) write(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	assert.NoError(f.t, json.NewEncoder(w).Encode(v))
}

// token gives the ID token for the code "good" and the verifier of the challenge.
func (f *fake) token(w http.ResponseWriter, r *http.Request) {
	sum := sha256.Sum256([]byte(r.FormValue("code_verifier")))
	if r.FormValue("code") != "good" || encoded(sum[:]) != f.challenge {
		w.WriteHeader(http.StatusBadRequest)
		f.write(w, map[string]string{"error": "invalid_grant"})
		return
	}
	claims := map[string]any{
		"iss": f.server.URL, "sub": "subject-1", "aud": "afterbeam", "exp": f.now().Add(5 * time.Minute).Unix(), "iat": f.now().Unix(),
		"nonce": f.nonce, "preferred_username": anyone, "auth_time": f.now().Unix(),
	}
	for name, value := range f.claims {
		claims[name] = value
	}
	f.write(w, map[string]any{"access_token": "x", "token_type": "Bearer", "id_token": f.signed(claims)})
}

func (f *fake) signed(claims map[string]any) string {
	head, err := json.Marshal(map[string]string{"alg": f.algorithm, "kid": "one"})
	require.NoError(f.t, err)
	body, err := json.Marshal(claims)
	require.NoError(f.t, err)
	text := encoded(head) + "." + encoded(body)
	sum := sha256.Sum256([]byte(text))
	switch f.algorithm {
	case "none":
		return text + "."
	case "HS256": // the public key taken for a shared secret
		mac := hmac.New(sha256.New, f.key.N.Bytes())
		_, _ = mac.Write([]byte(text))
		return text + "." + encoded(mac.Sum(nil))
	}
	key := f.key
	if f.other != nil {
		key = f.other
	}
	signature, err := rsa.SignPKCS1v15(rand.Reader, key, 5, sum[:]) // 5 is crypto.SHA256
	require.NoError(f.t, err)
	return text + "." + encoded(signature)
}

// begin goes to the issuer and gives the query of the request there.
func (f *fake) begin(v *visitor) url.Values {
	f.t.Helper()
	p := v.get("/sign-in/openid?next=/me")
	require.Equal(f.t, http.StatusSeeOther, p.status, p.body)
	require.True(f.t, strings.HasPrefix(p.location, f.server.URL+"/authorise?"), p.location)
	u, err := url.Parse(p.location)
	require.NoError(f.t, err)
	f.challenge, f.nonce = u.Query().Get("code_challenge"), u.Query().Get("nonce")
	assert.Equal(f.t, "S256", u.Query().Get("code_challenge_method"))
	return u.Query()
}

func answer(state, code string) string {
	return web.AnswerPath + "?" + url.Values{"state": {state}, "code": {code}}.Encode()
}

func newOpenIDRig(t *testing.T) (*rig, *fake) {
	t.Helper()
	var f *fake
	r := newRig(t, func(c *web.Config) {
		f = newFake(t, c.Now)
		c.Issuer = openid.New(openid.Config{Issuer: f.server.URL, ClientID: "afterbeam", ClientSecret: "secret", RedirectURL: "http://127.0.0.1" + web.AnswerPath, Label: "The clinic", Now: c.Now})
	})
	return r, f
}

func TestSignInAtAnIssuer(t *testing.T) {
	r, f := newOpenIDRig(t)
	a, err := r.db.AddAccount(context.Background(), store.System("test"), anyone, "physicist", nil)
	require.NoError(t, err)
	v := r.visitor()
	query := f.begin(v)
	p := v.get(answer(query.Get("state"), "good"))
	require.Equal(t, "/me", p.location, p.body)
	assert.Contains(t, v.get("/me").body, anyone)
	assert.Equal(t, http.StatusUnprocessableEntity, v.get(answer(query.Get("state"), "good")).status, "an answer counts once")

	// From now on the subject is the account: the name given to another subject opens nothing, another name for it changes nothing.
	f.claims = map[string]any{"sub": "subject-2"}
	other := r.visitor()
	assert.Equal(t, http.StatusUnprocessableEntity, other.get(answer(f.begin(other).Get("state"), "good")).status)
	f.claims = map[string]any{"preferred_username": "renamed"}
	same := r.visitor()
	assert.Equal(t, "/me", same.get(answer(f.begin(same).Get("state"), "good")).location)
	require.NoError(t, r.db.DisableAccount(context.Background(), store.System("test"), a.ID, "left"))
	gone := r.visitor()
	assert.Equal(t, http.StatusUnprocessableEntity, gone.get(answer(f.begin(gone).Get("state"), "good")).status)
}

func TestForgedAnswersAreRefused(t *testing.T) {
	r, f := newOpenIDRig(t)
	_, err := r.db.AddAccount(context.Background(), store.System("test"), anyone, "physicist", nil)
	require.NoError(t, err)
	stranger, err := rsa.GenerateKey(rand.Reader, 2048)
	require.NoError(t, err)
	now := r.clock.Now()
	for name, forge := range map[string]func(f *fake, v *visitor, query url.Values) page{
		"another state":   func(_ *fake, v *visitor, _ url.Values) page { return v.get(answer("other", "good")) },
		"no state":        func(_ *fake, v *visitor, _ url.Values) page { return v.get(answer("", "good")) },
		"another browser": func(_ *fake, v *visitor, q url.Values) page { return v.r.visitor().get(answer(q.Get("state"), "good")) },
		"another code":    func(_ *fake, v *visitor, q url.Values) page { return v.get(answer(q.Get("state"), "bad")) },
		"no code":         func(_ *fake, v *visitor, q url.Values) page { return v.get(answer(q.Get("state"), "")) },
		"an error": func(_ *fake, v *visitor, q url.Values) page {
			return v.get(web.AnswerPath + "?error=access_denied&state=" + q.Get("state"))
		},
		"too late": func(_ *fake, v *visitor, q url.Values) page {
			v.r.clock.Pass(11 * time.Minute)
			return v.get(answer(q.Get("state"), "good"))
		},
		"another nonce":                claim("nonce", "other"),
		"no nonce":                     claim("nonce", ""),
		"expired":                      claim("exp", now.Add(-time.Hour).Unix()),
		"another audience":             claim("aud", "other"),
		"for two, issued to the other": claims(map[string]any{"aud": []string{"afterbeam", "other"}, "azp": "other"}),
		"for two, issued to nobody":    claim("aud", []string{"afterbeam", "other"}),
		"another issuer":               claim("iss", "https://other.example"),
		"no subject":                   claim("sub", ""),
		"no name":                      claim("preferred_username", ""),
		"a name of another type":       claim("preferred_username", []string{anyone}),
		"nobody we know":               claim("preferred_username", "nobody"),
		"not signed":                   signedBy("none", nil),
		"signed with a shared secret":  signedBy("HS256", nil),
		"signed by a stranger":         signedBy("RS256", stranger),
		"another algorithm by name":    signedBy("RS512", nil),
	} {
		t.Run(name, func(t *testing.T) {
			v := r.visitor()
			query := f.begin(v)
			p := forge(f, v, query)
			f.claims, f.algorithm, f.other = map[string]any{}, "RS256", nil
			assert.Equal(t, http.StatusUnprocessableEntity, p.status, p.body)
			for _, c := range p.cookies {
				assert.NotEqual(t, "afterbeam", c.Name, "nobody is signed in")
			}
			assert.Equal(t, http.StatusSeeOther, v.get("/me").status)
		})
	}
	assert.Contains(t, r.actions(), "session.refuse refused")
}

func claim(name string, value any) func(*fake, *visitor, url.Values) page {
	return claims(map[string]any{name: value})
}

func claims(all map[string]any) func(*fake, *visitor, url.Values) page {
	return func(f *fake, v *visitor, q url.Values) page {
		f.claims = all
		return v.get(answer(q.Get("state"), "good"))
	}
}

func signedBy(algorithm string, key *rsa.PrivateKey) func(*fake, *visitor, url.Values) page {
	return func(f *fake, v *visitor, q url.Values) page {
		f.algorithm, f.other = algorithm, key
		return v.get(answer(q.Get("state"), "good"))
	}
}

// TestConfirmAtAnIssuer wants the same person, who proved it anew.
func TestConfirmAtAnIssuer(t *testing.T) {
	r, f := newOpenIDRig(t)
	_, err := r.db.AddAccount(context.Background(), store.System("test"), anyone, "physicist", nil)
	require.NoError(t, err)
	v := r.visitor()
	v.get(answer(f.begin(v).Get("state"), "good"))
	r.clock.Pass(6 * time.Minute)
	assert.Equal(t, "/confirm?next=%2Fme", v.post("/me/tokens", "purpose", "x", "days", "7", "from", "/me").location)
	query := f.begin(v)
	assert.Equal(t, "login", query.Get("prompt"))
	f.claims = map[string]any{"auth_time": r.clock.Now().Add(-6 * time.Minute).Unix()}
	assert.Equal(t, http.StatusUnprocessableEntity, v.get(answer(query.Get("state"), "good")).status, "proven long ago")
	f.claims = map[string]any{}
	assert.Equal(t, "/me", v.get(answer(f.begin(v).Get("state"), "good")).location)
	assert.Equal(t, http.StatusOK, v.post("/me/tokens", "purpose", "x", "days", "7", "from", "/me").status)
}

func TestAnIssuerThatDoesNotAnswer(t *testing.T) {
	r := newRig(t, func(c *web.Config) { c.Issuer = &issuer{} })
	p := r.visitor().get("/sign-in/openid")
	assert.Equal(t, http.StatusBadGateway, p.status)
	assert.Contains(t, p.body, "does not answer now")
}

func TestNewAccountsWhereTheSiteSaysSo(t *testing.T) {
	var f *fake
	r := newRig(t, func(c *web.Config) {
		f = newFake(t, c.Now)
		c.NewRole = access.Operator
		c.Issuer = openid.New(openid.Config{Issuer: f.server.URL, ClientID: "afterbeam", RedirectURL: "http://127.0.0.1" + web.AnswerPath, Label: "The clinic", Now: c.Now})
	})
	v := r.visitor()
	assert.Equal(t, "/me", v.get(answer(f.begin(v).Get("state"), "good")).location)
	accounts, err := r.db.Accounts(context.Background())
	require.NoError(t, err)
	require.Len(t, accounts, 1)
	assert.Equal(t, "operator", accounts[0].Role)
	assert.True(t, accounts[0].OwnCases, "own cases alone")
}
