// Package openid lets people sign in at an issuer of OpenID Connect: the code flow with PKCE, state and nonce (OpenID Connect
// Core 1.0, section 3.1; RFC 7636; RFC 9700).
package openid

import (
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"
)

// The kinds of failure.
var (
	// ErrUnreachable is an issuer that does not answer as one.
	ErrUnreachable = errors.New("issuer does not answer")
	// ErrRefused is an answer that proves nothing.
	ErrRefused = errors.New("answer of the issuer refused")
)

// DefaultClaim is the claim that names the account.
const DefaultClaim = "preferred_username"

// answerWithin bounds one question to the issuer.
const answerWithin = 10 * time.Second

// Config says which issuer is asked, and how. Now is required.
type Config struct {
	Issuer       string
	ClientID     string
	ClientSecret string
	// RedirectURL is where the issuer sends browsers back to.
	RedirectURL string
	// Claim names the claim whose value is the name of an account here, DefaultClaim when "". An e-mail address counts only
	// when the issuer says that it was verified.
	Claim string
	// Label is what people call the issuer.
	Label string
	// Client is how the issuer is asked; nil is one with a time limit.
	Client *http.Client
	Now    func() time.Time
}

// Identity is who somebody is at the issuer.
type Identity struct {
	Issuer, Subject string
	Name            string    // value of the claim
	At              time.Time // when the person proved it there; zero when the issuer does not say
}

// Provider asks one issuer. It looks the issuer up when it is first needed, so that the service starts without it.
type Provider struct {
	cfg Config

	mu    sync.Mutex
	found *oidc.Provider
}

// New makes a Provider.
func New(cfg Config) *Provider {
	if cfg.Claim == "" {
		cfg.Claim = DefaultClaim
	}
	if cfg.Client == nil {
		cfg.Client = &http.Client{Timeout: answerWithin}
	}
	return &Provider{cfg: cfg}
}

// Label is what people call the issuer.
func (p *Provider) Label() string { return p.cfg.Label }

func (p *Provider) provider(ctx context.Context) (*oidc.Provider, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.found != nil {
		return p.found, nil
	}
	// The provider keeps the context for its keys, which outlive the request.
	found, err := oidc.NewProvider(oidc.ClientContext(context.WithoutCancel(ctx), p.cfg.Client), p.cfg.Issuer)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrUnreachable, err)
	}
	p.found = found
	return found, nil
}

func (p *Provider) client(found *oidc.Provider) *oauth2.Config {
	return &oauth2.Config{
		ClientID: p.cfg.ClientID, ClientSecret: p.cfg.ClientSecret, RedirectURL: p.cfg.RedirectURL, Endpoint: found.Endpoint(),
		Scopes: []string{oidc.ScopeOpenID, "profile", "email"},
	}
}

// Begin gives the address to which a browser goes to sign in. again asks the issuer to have the person prove it anew.
func (p *Provider) Begin(ctx context.Context, state, nonce, verifier string, again bool) (string, error) {
	found, err := p.provider(ctx)
	if err != nil {
		return "", err
	}
	options := []oauth2.AuthCodeOption{oidc.Nonce(nonce), oauth2.S256ChallengeOption(verifier)}
	if again {
		options = append(options, oauth2.SetAuthURLParam("prompt", "login"), oauth2.SetAuthURLParam("max_age", "0"))
	}
	return p.client(found).AuthCodeURL(state, options...), nil
}

// Finish exchanges the code of an answer for the identity of who signed in.
func (p *Provider) Finish(ctx context.Context, code, nonce, verifier string) (Identity, error) {
	found, err := p.provider(ctx)
	if err != nil {
		return Identity{}, err
	}
	tokens, err := p.client(found).Exchange(oidc.ClientContext(ctx, p.cfg.Client), code, oauth2.VerifierOption(verifier))
	if err != nil {
		var refused *oauth2.RetrieveError
		if errors.As(err, &refused) {
			return Identity{}, fmt.Errorf("%w: code: %s", ErrRefused, refused.ErrorCode)
		}
		return Identity{}, fmt.Errorf("%w: %w", ErrUnreachable, err)
	}
	text, ok := tokens.Extra("id_token").(string)
	if !ok {
		return Identity{}, fmt.Errorf("%w: no ID token", ErrRefused)
	}
	token, err := found.VerifierContext(oidc.ClientContext(ctx, p.cfg.Client), &oidc.Config{ClientID: p.cfg.ClientID, SupportedSigningAlgs: algorithms(), Now: p.cfg.Now}).Verify(ctx, text)
	if err != nil {
		return Identity{}, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	if subtle.ConstantTimeCompare([]byte(token.Nonce), []byte(nonce)) != 1 {
		return Identity{}, fmt.Errorf("%w: another nonce", ErrRefused)
	}
	return p.identity(token)
}

// identity reads the claims of a token that was verified.
func (p *Provider) identity(token *oidc.IDToken) (Identity, error) {
	var claims map[string]any
	if err := token.Claims(&claims); err != nil {
		return Identity{}, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	// A token for several parties says for which one it was issued (OpenID Connect Core 1.0, 3.1.3.7).
	if authorised, ok := claims["azp"].(string); ok && authorised != p.cfg.ClientID || !ok && len(token.Audience) > 1 {
		return Identity{}, fmt.Errorf("%w: issued to another party", ErrRefused)
	}
	name, _ := claims[p.cfg.Claim].(string)
	if strings.TrimSpace(name) == "" || token.Subject == "" {
		return Identity{}, fmt.Errorf("%w: no claim %s", ErrRefused, p.cfg.Claim)
	}
	if verified, _ := claims["email_verified"].(bool); p.cfg.Claim == "email" && !verified {
		return Identity{}, fmt.Errorf("%w: e-mail address not verified", ErrRefused)
	}
	who := Identity{Issuer: token.Issuer, Subject: token.Subject, Name: name}
	if at, ok := claims["auth_time"].(float64); ok {
		who.At = time.Unix(int64(at), 0)
	}
	return who, nil
}

// algorithms lists the signatures that are taken: those by a pair of keys, so that nobody who knows the client's secret signs.
func algorithms() []string {
	return []string{oidc.RS256, oidc.RS384, oidc.RS512, oidc.ES256, oidc.ES384, oidc.ES512, oidc.PS256, oidc.PS384, oidc.PS512, oidc.EdDSA}
}
