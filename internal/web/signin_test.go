package web_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
	"afterbeam/internal/web"
)

func TestSignInAndOut(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	v := r.visitor()
	assert.Equal(t, "/sign-in?next=%2Fme", v.get("/me").location)
	p := v.signIn(anyone, words)
	assert.Equal(t, "/", p.location)
	assert.Contains(t, v.get("/me").body, anyone)
	assert.Equal(t, "/today", v.get("/").location, "a physicist's first page")
	kept := p.cookies[0]
	out := v.post("/sign-out")
	assert.Equal(t, "/sign-in?done=signed-out", out.location)
	assert.Contains(t, out.header.Get("Clear-Site-Data"), "cache")
	again := v.get("/me", "Cookie", kept.Name+"="+kept.Value)
	assert.Equal(t, http.StatusSeeOther, again.status, "the cookie of a session that was ended is of no use")
	assert.Equal(t, []string{"session.begin done", "session.end done"}, r.actions()[len(r.actions())-2:])
}

func TestWrongSignInsAreAllAlike(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Operator, anyone, words)
	disabled := r.person(access.Operator, "gone", words)
	require.NoError(t, r.db.DisableAccount(context.Background(), store.System("test"), disabled.ID, "left"))
	_, err := r.db.AddAccount(context.Background(), store.System("test"), "no password", "operator", nil)
	require.NoError(t, err)
	bodies := map[string]bool{}
	for _, name := range []string{anyone, "gone", "no password", "nobody"} {
		p := r.visitor().post("/sign-in", "account", name, "password", "a wrong password")
		assert.Equal(t, http.StatusUnprocessableEntity, p.status)
		assert.Empty(t, p.cookies)
		bodies[strings.ReplaceAll(p.body, `value="`+name+`"`, "")] = true
	}
	assert.Len(t, bodies, 1)
	assert.Equal(t, "session.refuse refused", r.actions()[len(r.actions())-1])
	assert.NotContains(t, r.log.String(), "a wrong password")
}

// TestGuessingIsSlow has 10,000 guesses from one address, and then a thousand addresses guess at one name.
func TestGuessingIsSlow(t *testing.T) {
	r := newRig(t, nil)
	slow := web.NewSlowness(r.clock.Now)
	taken := 0
	for range 10_000 {
		if slow("petra", "10.0.0.1") == 0 {
			taken++
		}
		r.clock.Pass(time.Second)
	}
	assert.Less(t, taken, 40, "in 10,000 s: five at once, then a wait that doubles up to 15 minutes")
	taken = 0
	for i := range 1000 {
		if slow("paul", fmt.Sprintf("10.0.%d.%d", i/250, i%250)) == 0 {
			taken++
		}
		r.clock.Pass(time.Second)
	}
	assert.Less(t, taken, 40)
}

// TestOthersLockNobodyOut shows that a person signs in from where the person did before, whatever others try.
func TestOthersLockNobodyOut(t *testing.T) {
	r := newRig(t, nil)
	slow, succeeded := web.NewSlowdown(r.clock.Now)
	require.Zero(t, slow("petra", "10.0.0.1"))
	succeeded("petra", "10.0.0.1")
	for i := range 500 {
		slow("petra", fmt.Sprintf("10.1.0.%d", i%250))
	}
	assert.Zero(t, slow("petra", "10.0.0.1"))
	assert.LessOrEqual(t, slow("petra", "10.2.0.1"), 5*time.Minute)
	assert.NotZero(t, slow("petra", "10.2.0.1"), "from elsewhere it takes minutes")
}

func TestTooManyAttemptsInAForm(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Operator, anyone, words)
	v := r.visitor()
	for range 5 {
		v.post("/sign-in", "account", anyone, "password", "wrong")
	}
	assert.Contains(t, v.post("/sign-in", "account", anyone, "password", words).body, "Too many attempts. Try again in 1 second.")
	r.clock.Pass(2 * time.Second)
	v.signIn(anyone, words)
}

func TestSessionsEnd(t *testing.T) {
	for name, tt := range map[string]struct {
		do   func(r *rig, v *visitor, a store.Account)
		want int
	}{
		"used within the idle time": {func(r *rig, v *visitor, _ store.Account) {
			for range 8 {
				r.clock.Pass(14 * time.Minute)
				require.Equal(r.t, http.StatusOK, v.get("/me").status)
			}
		}, http.StatusOK},
		"idle": {func(r *rig, _ *visitor, _ store.Account) { r.clock.Pass(15 * time.Minute) }, http.StatusSeeOther},
		"looking at the time is no use": {func(r *rig, v *visitor, _ store.Account) {
			r.clock.Pass(10 * time.Minute)
			require.JSONEq(r.t, `{"left":300}`, v.get("/session/left").body)
			r.clock.Pass(5 * time.Minute)
		}, http.StatusSeeOther},
		"go on": {func(r *rig, v *visitor, _ store.Account) {
			r.clock.Pass(14 * time.Minute)
			require.JSONEq(r.t, `{"left":900}`, v.post("/session/go-on").body)
			r.clock.Pass(14 * time.Minute)
		}, http.StatusOK},
		"twelve hours": {func(r *rig, v *visitor, _ store.Account) {
			for range 72 {
				r.clock.Pass(10 * time.Minute)
				v.get("/me")
			}
		}, http.StatusSeeOther},
		"disabled": {func(r *rig, _ *visitor, a store.Account) {
			require.NoError(r.t, r.db.DisableAccount(context.Background(), store.System("test"), a.ID, "left"))
		}, http.StatusSeeOther},
		"signed out everywhere": {func(r *rig, _ *visitor, _ store.Account) {
			other := r.visitor()
			other.signIn(anyone, words)
			require.Equal(r.t, "/sign-in?done=signed-out-everywhere", other.post("/sign-out-everywhere").location)
		}, http.StatusSeeOther},
		"another password": {func(r *rig, _ *visitor, a store.Account) {
			require.NoError(r.t, r.db.ChangePassword(context.Background(), store.System("test"), a.ID, "x"))
		}, http.StatusSeeOther},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, nil)
			a := r.person(access.Physicist, anyone, words)
			v := r.visitor()
			v.signIn(anyone, words)
			tt.do(r, v, a)
			assert.Equal(t, tt.want, v.get("/me").status)
		})
	}
}

func TestASessionOfOnesOwnIsEndedAndAnothersIsNot(t *testing.T) {
	r := newRig(t, nil)
	a, b := r.person(access.Physicist, anyone, words), r.person(access.Physicist, "paul", words)
	mine, elsewhere, his := r.visitor(), r.visitor(), r.visitor()
	elsewhere.signIn(anyone, words)
	r.clock.Pass(time.Second)
	mine.signIn(anyone, words)
	his.signIn("paul", words)
	sessions, err := r.db.SessionsOf(context.Background(), a.ID)
	require.NoError(t, err)
	require.Len(t, sessions, 2)
	assert.Equal(t, "/me?done=session-ended", mine.post("/me/sessions/"+sessions[1].ID+"/end").location)
	assert.Equal(t, http.StatusSeeOther, elsewhere.get("/me").status)
	others, err := r.db.SessionsOf(context.Background(), b.ID)
	require.NoError(t, err)
	assert.Equal(t, http.StatusNotFound, mine.post("/me/sessions/"+others[0].ID+"/end").status)
	assert.Equal(t, http.StatusOK, his.get("/me").status)
}

// TestASessionIsNotHandedOver shows that signing in makes a new secret, whatever the browser brought.
func TestASessionIsNotHandedOver(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	v := r.visitor()
	first := v.signIn(anyone, words).cookies[0]
	second := v.signIn(anyone, words).cookies[0]
	assert.NotEqual(t, first.Value, second.Value)
	assert.Equal(t, http.StatusSeeOther, r.visitor().get("/me", "Cookie", first.Name+"="+first.Value).status)
	assert.Equal(t, http.StatusSeeOther, r.visitor().get("/me", "Cookie", first.Name+"=planted").status)
}

func TestCookies(t *testing.T) {
	for name, tt := range map[string]struct {
		secure bool
		want   string
	}{"over HTTPS": {true, "__Host-afterbeam"}, "on this machine alone": {false, "afterbeam"}} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, func(c *web.Config) { c.Secure = tt.secure })
			r.person(access.Physicist, anyone, words)
			p := r.visitor().signIn(anyone, words)
			require.Len(t, p.cookies, 1)
			c := p.cookies[0]
			assert.Equal(t, tt.want, c.Name)
			assert.Equal(t, tt.secure, c.Secure)
			assert.True(t, c.HttpOnly)
			assert.Equal(t, http.SameSiteLaxMode, c.SameSite)
			assert.Equal(t, "/", c.Path)
			assert.Empty(t, c.Domain)
			assert.GreaterOrEqual(t, len(c.Value), 26, "128 bits and more, five a character")
		})
	}
}

// TestACookieDoesNotOpenTheInterface shows that programs want a token, so that no site makes a browser ask.
func TestACookieDoesNotOpenTheInterface(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	p := v.get("/v1/me")
	assert.Equal(t, http.StatusUnauthorized, p.status)
	assert.Equal(t, "application/problem+json", p.header.Get("Content-Type"))
}

func TestNextStaysHere(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	for next, want := range map[string]string{
		"/me": "/me", "/me?x=1": "/me?x=1", "https://other.example/": "/", "//other.example": "/", "/\\other.example": "/",
		"javascript:alert(1)": "/", "me": "/", "/a\r\nSet-Cookie: x=y": "/", "/\t/other.example": "/",
	} {
		p := r.visitor().post("/sign-in", "account", anyone, "password", words, "next", next)
		assert.Equal(t, want, p.location, next)
	}
}
