package httpapi

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
)

// ListPeople lists the persons of the staff whom reports and performed procedures name. No patient is among them.
func (h *handlers) ListPeople(ctx context.Context, request ListPeopleRequestObject) (ListPeopleResponseObject, error) {
	p := request.Params
	limit := pageSize(p.Limit)
	people, err := h.store.Persons(ctx, store.PersonFilter{Mapped: p.HasAccount, After: or(p.After), Limit: limit + 1})
	if err != nil {
		return nil, err
	}
	people, next := page(people, limit, func(p store.Person) string { return p.ID })
	return ListPeople200JSONResponse{People: every(people, func(p store.Person) Person {
		return Person{
			Id: p.ID, Name: p.Name, Login: p.Login, Number: p.Number, Issuer: p.Issuer, Procedures: p.Cases,
			AccountId: text(p.Account), AssignedAt: moment(p.MappedAt), FirstSeen: p.FirstSeen,
		}
	}), Next: next}, nil
}

// AssignPerson says whose account a person is. Only those who see cases can be somebody of a case.
func (h *handlers) AssignPerson(ctx context.Context, request AssignPersonRequestObject) (AssignPersonResponseObject, error) {
	if err := h.takesCases(ctx, request.Body.AccountId); err != nil {
		return nil, err
	}
	err := h.store.MapPerson(ctx, callOf(ctx).actor(), request.Id, request.Body.AccountId, request.Body.Reason)
	if errors.Is(err, store.ErrConflict) {
		return nil, tell(store.ErrConflict, "the person has an account; end that assignment first")
	}
	if err != nil {
		return nil, err
	}
	return AssignPerson204Response{}, nil
}

// takesCases tells whether an account is there and of a role that sees cases.
func (h *handlers) takesCases(ctx context.Context, id string) error {
	accounts, err := h.store.Accounts(ctx)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(accounts, func(a store.Account) bool { return a.ID == id && a.DisabledAt.IsZero() })
	if at < 0 {
		return tell(store.ErrNotFound, "there is no such account in force")
	}
	if role := access.Role(accounts[at].Role); role != access.Operator && role != access.Physicist {
		return tell(store.ErrInvalid, "property account_id wants an operator's or a physicist's account")
	}
	return nil
}

// UnassignPerson ends an assignment; it stays on record.
func (h *handlers) UnassignPerson(ctx context.Context, request UnassignPersonRequestObject) (UnassignPersonResponseObject, error) {
	if err := h.store.UnmapPerson(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason); err != nil {
		return nil, err
	}
	return UnassignPerson204Response{}, nil
}

// ListFallbacks lists the rooms' fallbacks.
func (h *handlers) ListFallbacks(ctx context.Context, _ ListFallbacksRequestObject) (ListFallbacksResponseObject, error) {
	all, err := h.store.Fallbacks(ctx)
	if err != nil {
		return nil, err
	}
	return ListFallbacks200JSONResponse{Fallbacks: every(all, func(f store.Fallback) Fallback {
		return Fallback{Room: f.Room, AccountId: f.Account, MadeAt: f.MadeAt}
	})}, nil
}

// SetFallback names or ends the fallback of a room.
func (h *handlers) SetFallback(ctx context.Context, request SetFallbackRequestObject) (SetFallbackResponseObject, error) {
	account := or(request.Body.AccountId)
	if account != "" {
		if err := h.takesCases(ctx, account); err != nil {
			return nil, err
		}
	}
	if err := h.store.SetFallback(ctx, callOf(ctx).actor(), request.Body.Room, account, request.Body.Reason); err != nil {
		return nil, err
	}
	return SetFallback204Response{}, nil
}

// ListColleagues names the accounts of those who see cases. No patient is among them.
func (h *handlers) ListColleagues(ctx context.Context, _ ListColleaguesRequestObject) (ListColleaguesResponseObject, error) {
	all, err := h.store.Accounts(ctx)
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(a store.Account) bool {
		return access.Grant{Role: access.Role(a.Role)}.May("listColleagues") != nil
	})
	slices.SortFunc(all, func(a, b store.Account) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), strings.Compare(a.ID, b.ID))
	})
	return ListColleagues200JSONResponse{Colleagues: every(all, func(a store.Account) Colleague {
		return Colleague{Id: a.ID, Name: a.Name, Role: a.Role, Active: a.DisabledAt.IsZero()}
	})}, nil
}
