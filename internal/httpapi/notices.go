package httpapi

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/mail"
	"slices"
	"strings"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/store"
)

// Notices is how people are told of cases.
type Notices struct {
	// Policy is the site's; the zero policy tells every case, in English.
	Policy notice.Policy
	// Channels are the names of those that the site has.
	Channels []string
	// Domains are those to which mail may go; none is every one.
	Domains []string
	// Base is the address of the pages, "" leaves links out.
	Base string
}

// ListNotices lists what was told of a procedure.
func (h *handlers) ListNotices(ctx context.Context, request ListNoticesRequestObject) (ListNoticesResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	all, err := h.store.NoticesOf(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	out := ListNotices200JSONResponse{Notices: []Notice{}}
	for _, n := range all {
		one, err := h.notice(ctx, n)
		if err != nil {
			return nil, err
		}
		out.Notices = append(out.Notices, one)
	}
	seen, err := h.store.Acknowledgements(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	out.Acknowledgements = every(seen, encodeAcknowledgement)
	return out, h.viewed(ctx, "notices.list", c.ID, c.PatientID)
}

// seenNotice gives a notice of a case that lies in the caller's rooms. A notice about notices is of no case.
func (h *handlers) seenNotice(ctx context.Context, id string) (store.Notice, store.Case, error) {
	n, err := h.store.Notice(ctx, id)
	if err != nil {
		return n, store.Case{}, err
	}
	if n.CaseID == "" {
		return n, store.Case{}, fmt.Errorf("%w: notice of a case", store.ErrNotFound)
	}
	c, err := h.seen(ctx, n.CaseID)
	return n, c, err
}

// GetNotice gives a notice whole.
func (h *handlers) GetNotice(ctx context.Context, request GetNoticeRequestObject) (GetNoticeResponseObject, error) {
	n, c, err := h.seenNotice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	one, err := h.notice(ctx, n)
	if err != nil {
		return nil, err
	}
	item := notice.Item{Reference: n.ID, Kind: n.Kind, Urgent: n.Urgent, Link: notice.Link(h.cfg.Notices.Base, n.CaseID)}
	if err := json.Unmarshal(n.Content, &item.Content); err != nil {
		return nil, fmt.Errorf("read notice %s: %w", n.ID, err)
	}
	language := cmp.Or(or(request.Params.Language), h.cfg.Notices.Policy.Language)
	if !notice.Languages().Has(language) {
		return nil, tell(store.ErrInvalid, fmt.Sprintf("parameter language wants one of %s", strings.Join(notice.Languages().Tags(), ", ")))
	}
	subject, text := notice.Render(notice.Letter{Items: []notice.Item{item}}, language)
	return GetNotice200JSONResponse{
		Notice: one, Language: language, Subject: subject, Text: text, Content: json.RawMessage(n.Content), Caution: caution,
	}, h.viewed(ctx, "notice.view", n.ID, c.PatientID)
}

// ResendNotice has a notice sent once more.
func (h *handlers) ResendNotice(ctx context.Context, request ResendNoticeRequestObject) (ResendNoticeResponseObject, error) {
	n, _, err := h.seenNotice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	if err := h.store.ResendNotice(ctx, callOf(ctx).actor(), n.ID, request.Body.Reason); err != nil {
		return nil, err
	}
	if n, err = h.store.Notice(ctx, n.ID); err != nil {
		return nil, err
	}
	one, err := h.notice(ctx, n)
	return ResendNotice202JSONResponse(one), err
}

// AcknowledgeProcedure notes that the caller has seen an estimate.
func (h *handlers) AcknowledgeProcedure(ctx context.Context, request AcknowledgeProcedureRequestObject) (AcknowledgeProcedureResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	a, err := h.store.Acknowledge(ctx, callOf(ctx).actor(), c.ID, or(request.Body.Version))
	if err != nil {
		return nil, err
	}
	return AcknowledgeProcedure200JSONResponse(encodeAcknowledgement(a)), nil
}

// ListNoticeChannels says how the channels do. It names no case and no patient.
func (h *handlers) ListNoticeChannels(ctx context.Context, _ ListNoticeChannelsRequestObject) (ListNoticeChannelsResponseObject, error) {
	all, err := h.store.ChannelStates(ctx)
	if err != nil {
		return nil, err
	}
	for _, name := range h.cfg.Notices.Channels {
		if !slices.ContainsFunc(all, func(s store.ChannelState) bool { return s.Channel == name }) {
			all = append(all, store.ChannelState{Channel: name})
		}
	}
	return ListNoticeChannels200JSONResponse{Channels: every(all, func(s store.ChannelState) NoticeChannel {
		return NoticeChannel{
			Channel: s.Channel, Waiting: s.Waiting, Failed: s.Failed, OldestAt: moment(s.Oldest), FailingFrom: moment(s.FailingFrom), Error: text(s.Error), AlarmAt: moment(s.AlarmAt),
		}
	})}, nil
}

// notice gives a notice with its messages and the tries of each.
func (h *handlers) notice(ctx context.Context, n store.Notice) (Notice, error) {
	out := Notice{
		Reference: n.ID, ProcedureId: n.CaseID, Version: n.Version, Kind: NoticeKind(n.Kind), Rank: NoticeRank(n.Rank.String()), Urgent: n.Urgent,
		State: "queued", Problem: text(n.Problem), QueuedAt: n.CreatedAt, Messages: []NoticeMessage{},
	}
	if n.Placed {
		out.State = "placed"
	}
	messages, err := h.store.MessagesOf(ctx, n.ID)
	if err != nil {
		return out, err
	}
	for _, m := range messages {
		tries, err := h.store.Attempts(ctx, m.ID)
		if err != nil {
			return out, err
		}
		out.Messages = append(out.Messages, NoticeMessage{
			Id: m.ID, AccountId: m.Account, Channel: m.Channel, Digest: m.Digest, State: NoticeMessageState(m.State), DueAt: m.DueAt, SentAt: moment(m.SentAt),
			Error: text(m.Error), Attempts: every(tries, func(a store.Attempt) NoticeAttempt {
				return NoticeAttempt{BegunAt: a.BegunAt, EndedAt: moment(a.EndedAt), Ending: NoticeAttemptEnding(a.Outcome), Repeat: a.Repeat, Error: text(a.Error)}
			}),
		})
	}
	return out, nil
}

func encodeAcknowledgement(a store.Acknowledgement) Acknowledgement {
	return Acknowledgement{ProcedureId: a.CaseID, Version: a.Version, AccountId: a.Account, MadeAt: a.MadeAt}
}

// GetNoticePreferences says what the caller chose.
func (h *handlers) GetNoticePreferences(ctx context.Context, _ GetNoticePreferencesRequestObject) (GetNoticePreferencesResponseObject, error) {
	d, err := h.preferences(ctx, callOf(ctx).grant.Account.ID)
	return GetNoticePreferences200JSONResponse(d), err
}

// SetNoticePreferences replaces what the caller chose.
func (h *handlers) SetNoticePreferences(ctx context.Context, request SetNoticePreferencesRequestObject) (SetNoticePreferencesResponseObject, error) {
	d, err := h.prefer(ctx, callOf(ctx).grant.Account.ID, *request.Body)
	return SetNoticePreferences200JSONResponse(d), err
}

// GetAccountNoticePreferences says what an account chose.
func (h *handlers) GetAccountNoticePreferences(ctx context.Context, request GetAccountNoticePreferencesRequestObject) (GetAccountNoticePreferencesResponseObject, error) {
	if err := h.accountThere(ctx, request.Id); err != nil {
		return nil, err
	}
	d, err := h.preferences(ctx, request.Id)
	return GetAccountNoticePreferences200JSONResponse(d), err
}

// SetAccountNoticePreferences replaces what an account chose.
func (h *handlers) SetAccountNoticePreferences(ctx context.Context, request SetAccountNoticePreferencesRequestObject) (SetAccountNoticePreferencesResponseObject, error) {
	if err := h.accountThere(ctx, request.Id); err != nil {
		return nil, err
	}
	d, err := h.prefer(ctx, request.Id, *request.Body)
	return SetAccountNoticePreferences200JSONResponse(d), err
}

func (h *handlers) accountThere(ctx context.Context, id string) error {
	all, err := h.store.Accounts(ctx)
	if err == nil && !slices.ContainsFunc(all, func(a store.Account) bool { return a.ID == id }) {
		return tell(store.ErrNotFound, "there is no such account")
	}
	return err
}

func (h *handlers) preferences(ctx context.Context, account string) (NoticePreferencesDetail, error) {
	chosen, err := h.store.NoticePreferences(ctx, account)
	if err != nil {
		return NoticePreferencesDetail{}, err
	}
	holds, err := h.cfg.Notices.Policy.Over(chosen)
	if err != nil { // a choice that the site no longer has
		holds = h.cfg.Notices.Policy
	}
	if holds.Channels == nil {
		holds.Channels = h.cfg.Notices.Channels
	}
	return NoticePreferencesDetail{
		AccountId: account,
		Chosen: NoticePreferences{
			From: (*NoticePreferencesFrom)(chosen.From), Language: chosen.Language, QuietFrom: chosen.QuietFrom, QuietTo: chosen.QuietTo, DigestAt: chosen.DigestAt,
			Channels: chosen.Channels, Mail: text(chosen.Mail),
		},
		Holds: NoticePolicy{
			From: holds.From.String(), Language: holds.Language, QuietFrom: holds.QuietFrom, QuietTo: holds.QuietTo, DigestAt: holds.DigestAt,
			Channels: every(holds.Channels, func(s string) string { return s }),
		},
		Offered: NoticeOffer{Channels: every(h.cfg.Notices.Channels, func(s string) string { return s }), Languages: notice.Languages().Tags()},
	}, nil
}

// prefer checks choices and keeps them.
func (h *handlers) prefer(ctx context.Context, account string, p NoticePreferences) (NoticePreferencesDetail, error) {
	chosen := notice.Preferences{
		From: (*string)(p.From), Language: p.Language, QuietFrom: p.QuietFrom, QuietTo: p.QuietTo, DigestAt: p.DigestAt, Channels: p.Channels, Mail: or(p.Mail),
	}
	if _, err := h.cfg.Notices.Policy.Over(chosen); err != nil {
		return NoticePreferencesDetail{}, tell(store.ErrInvalid, "a choice cannot be used: wanted are a language that there is, and quiet_from with quiet_to")
	}
	for _, name := range or(chosen.Channels) {
		if !slices.Contains(h.cfg.Notices.Channels, name) {
			return NoticePreferencesDetail{}, tell(store.ErrInvalid, "property channels wants names of channels that the site has")
		}
	}
	if chosen.Mail != "" {
		if err := h.mayMail(chosen.Mail); err != nil {
			return NoticePreferencesDetail{}, err
		}
	}
	if err := h.store.SetNoticePreferences(ctx, callOf(ctx).actor(), account, chosen); err != nil {
		return NoticePreferencesDetail{}, err
	}
	return h.preferences(ctx, account)
}

// mayMail tells whether mail may go to an address: one address and nothing beside it, at a domain that the site allows.
func (h *handlers) mayMail(address string) error {
	parsed, err := mail.ParseAddress(address)
	if err != nil || parsed.Address != address {
		return tell(store.ErrInvalid, "property mail wants an address such as surgeon@example.org")
	}
	_, domain, _ := strings.Cut(address, "@")
	allowed := func(d string) bool { return strings.EqualFold(d, domain) }
	if len(h.cfg.Notices.Domains) > 0 && !slices.ContainsFunc(h.cfg.Notices.Domains, allowed) {
		return tell(store.ErrInvalid, "property mail wants an address at a domain that the site allows")
	}
	return nil
}
