package main

import (
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/deliver"
	"afterbeam/internal/deliver/mail"
	"afterbeam/internal/deliver/outbox"
	"afterbeam/internal/deliver/webhook"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/settings"
)

// The names of the channels.
const (
	channelOutbox  = "outbox"
	channelMail    = "mail"
	channelWebhook = "webhook"
)

// waysOf gives the channels that the settings have.
func waysOf(n settings.Notices) ([]deliver.Way, error) {
	var ways []deliver.Way
	if n.Outbox.Dir != "" {
		ways = append(ways, deliver.Way{Name: channelOutbox, Channel: outbox.Folder{Dir: n.Outbox.Dir}})
	}
	if n.Mail.Server != "" {
		sender, err := mail.New(mail.Config{
			Server: n.Mail.Server, From: n.Mail.From, User: n.Mail.User, Password: n.Mail.Password, Encryption: n.Mail.Encryption, Authority: n.Mail.Authority,
		})
		if err != nil {
			return nil, fmt.Errorf("notices.mail: %w", err)
		}
		ways = append(ways, deliver.Way{Name: channelMail, Channel: sender, Addressed: true, Bare: n.Mail.Body == "link"})
	}
	if n.Webhook.URL != "" {
		sender, err := webhook.New(webhook.Config{
			URL: n.Webhook.URL, Secret: n.Webhook.Secret, Private: n.Webhook.PrivateTargets, Authority: n.Webhook.Authority,
		})
		if err != nil {
			return nil, fmt.Errorf("notices.webhook: %w", err)
		}
		ways = append(ways, deliver.Way{Name: channelWebhook, Channel: sender})
	}
	return ways, nil
}

// notices makes the worker that delivers notices.
func (w *works) notices(zone *time.Location) (*deliver.Worker, error) {
	n := w.settings.Notices
	ways, err := waysOf(n)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errUsage, err)
	}
	policy, err := n.Policy()
	if err != nil {
		return nil, fmt.Errorf("%w: notices: %w", errUsage, err)
	}
	return &deliver.Worker{
		Store: w.db, Ways: ways, Pictures: pictures{}, Policy: policy, Zone: zone, Base: pagesOf(w.settings),
		AlarmAfter: time.Duration(n.AlarmMinutes) * time.Minute, Log: w.log, Now: time.Now, Fatal: w.fatal,
	}, nil
}

// toldBy is what the interface tells of notices.
func toldBy(s settings.Settings) httpapi.Notices {
	n := httpapi.Notices{Domains: s.Notices.Mail.Domains, Base: pagesOf(s)}
	n.Policy, _ = s.Notices.Policy() // was checked when the settings were read
	for _, one := range []struct{ name, set string }{{channelOutbox, s.Notices.Outbox.Dir}, {channelMail, s.Notices.Mail.Server}, {channelWebhook, s.Notices.Webhook.URL}} {
		if one.set != "" {
			n.Channels = append(n.Channels, one.name)
		}
	}
	return n
}

// pagesOf gives the address of the pages without a slash at its end.
func pagesOf(s settings.Settings) string { return strings.TrimSuffix(s.Pages.PublicURL, "/") }
