package httpapi

import (
	"context"
	"errors"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
)

// setupTokenAge is how long the first account's token holds; the admin makes others before.
const setupTokenAge = 90 * 24 * time.Hour

// UseSetup spends the one-time setup token on the first account, or the console's on one more. It is an admin's, which
// sees no patient data and makes the accounts that do.
func (h *handlers) UseSetup(ctx context.Context, request UseSetupRequestObject) (UseSetupResponseObject, error) {
	cl := callOf(ctx)
	secret := access.NewSecret()
	expires := h.cfg.Now().Add(setupTokenAge)
	first := store.Account{Name: request.Body.Name, Role: string(access.Admin)}
	first, err := h.store.UseSetup(ctx, access.Hash(cl.bearer), first, secret.Prefix, secret.Hash, expires)
	if errors.Is(err, store.ErrNotFound) {
		return nil, access.ErrUnknown
	}
	if errors.Is(err, store.ErrConflict) {
		return nil, tell(store.ErrConflict, "an account of this name is there already")
	}
	if err != nil {
		return nil, err
	}
	return UseSetup201JSONResponse{Account: encodeAccount(first), Token: secret.Text, ExpiresAt: expires.UTC()}, nil
}

// GetMe says whose token this is.
func (h *handlers) GetMe(ctx context.Context, _ GetMeRequestObject) (GetMeResponseObject, error) {
	return GetMe200JSONResponse(encodeAccount(callOf(ctx).grant.Account)), nil
}

// ListAccounts lists the accounts.
func (h *handlers) ListAccounts(ctx context.Context, _ ListAccountsRequestObject) (ListAccountsResponseObject, error) {
	accounts, err := h.store.Accounts(ctx)
	if err != nil {
		return nil, err
	}
	return ListAccounts200JSONResponse{Accounts: every(accounts, encodeAccount)}, nil
}

// AddAccount makes an account.
func (h *handlers) AddAccount(ctx context.Context, request AddAccountRequestObject) (AddAccountResponseObject, error) {
	role, rooms, own := access.Role(request.Body.Role), or(request.Body.Rooms), or(request.Body.OwnCases)
	if err := access.CheckScope(role, rooms, own); err != nil {
		return nil, tell(store.ErrInvalid, err.Error())
	}
	a, err := h.store.MakeAccount(ctx, callOf(ctx).actor(), store.Account{Name: request.Body.Name, Role: string(role), Rooms: rooms, OwnCases: own})
	if errors.Is(err, store.ErrConflict) {
		return nil, tell(store.ErrConflict, "an account of this name is there already")
	}
	if err != nil {
		return nil, err
	}
	return AddAccount201JSONResponse(encodeAccount(a)), nil
}

// DisableAccount ends an account. Nobody ends the own one, so that an admin is left.
func (h *handlers) DisableAccount(ctx context.Context, request DisableAccountRequestObject) (DisableAccountResponseObject, error) {
	cl := callOf(ctx)
	if request.Id == cl.grant.Account.ID {
		return nil, tell(store.ErrConflict, "an account does not end itself; another admin can")
	}
	if err := h.store.DisableAccount(ctx, cl.actor(), request.Id, request.Body.Reason); err != nil {
		return nil, err
	}
	return DisableAccount204Response{}, nil
}

// AddToken makes a token for an account; its secret is shown here and never again.
func (h *handlers) AddToken(ctx context.Context, request AddTokenRequestObject) (AddTokenResponseObject, error) {
	accounts, err := h.store.Accounts(ctx)
	if err != nil {
		return nil, err
	}
	secret := access.NewSecret()
	for _, a := range accounts {
		if a.ID != request.Id {
			continue
		}
		age := min(time.Duration(request.Body.Days)*24*time.Hour, access.MaxTokenAge)
		t, err := h.store.AddToken(ctx, callOf(ctx).actor(), a.ID, secret.Prefix, secret.Hash, request.Body.Purpose, h.cfg.Now().Add(age))
		if err != nil {
			return nil, err
		}
		return AddToken201JSONResponse{Account: encodeAccount(a), Token: secret.Text, ExpiresAt: t.ExpiresAt}, nil
	}
	return nil, store.ErrNotFound
}

// passwordLinkAge is how long a one-time code for a password holds.
const passwordLinkAge = 48 * time.Hour

// AddPasswordLink makes a one-time code by which the person of an account sets a password; it is shown here and never again.
func (h *handlers) AddPasswordLink(ctx context.Context, request AddPasswordLinkRequestObject) (AddPasswordLinkResponseObject, error) {
	accounts, err := h.store.Accounts(ctx)
	if err != nil {
		return nil, err
	}
	for _, a := range accounts {
		switch {
		case a.ID != request.Id:
			continue
		case a.Role == string(access.Service):
			return nil, tell(store.ErrConflict, "an account of the role service is no person's and signs in nowhere")
		}
		text, hash := access.NewSessionSecret()
		until := h.cfg.Now().Add(passwordLinkAge)
		if err := h.store.OfferPassword(ctx, callOf(ctx).actor(), a.ID, hash, until); err != nil {
			return nil, err
		}
		return AddPasswordLink201JSONResponse{Account: encodeAccount(a), Code: text, ExpiresAt: until.UTC()}, nil
	}
	return nil, store.ErrNotFound
}

// ListTokens lists the tokens without their secrets.
func (h *handlers) ListTokens(ctx context.Context, _ ListTokensRequestObject) (ListTokensResponseObject, error) {
	tokens, err := h.store.Tokens(ctx)
	if err != nil {
		return nil, err
	}
	return ListTokens200JSONResponse{Tokens: every(tokens, encodeToken)}, nil
}

// RevokeToken ends a token.
func (h *handlers) RevokeToken(ctx context.Context, request RevokeTokenRequestObject) (RevokeTokenResponseObject, error) {
	if err := h.store.RevokeToken(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason); err != nil {
		return nil, err
	}
	return RevokeToken204Response{}, nil
}
