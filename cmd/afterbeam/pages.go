package main

import (
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/access/openid"
	"afterbeam/internal/web"
)

// mountPages puts the pages beside the HTTP interface.
func (w *works) mountPages(site *time.Location) error {
	s := w.settings
	if !s.Pages.Enabled {
		return nil
	}
	cfg := web.Config{
		API: w.api, Store: w.db, Now: time.Now, Logger: w.log, Version: programVersion(), Zone: site,
		Secure: s.HTTP.Certificate != "" || s.HTTP.BehindProxy, PublicURL: s.Pages.PublicURL,
		Idle: time.Duration(s.Pages.IdleMinutes) * time.Minute, Longest: time.Duration(s.Pages.SessionHours) * time.Hour,
		Passwords: s.Pages.Passwords, NewRole: access.Role(s.OpenID.NewAccountRole), Synthetic: w.synthetic,
	}
	if s.OpenID.Issuer != "" {
		cfg.Issuer = openid.New(openid.Config{
			Issuer: s.OpenID.Issuer, ClientID: s.OpenID.ClientID, ClientSecret: s.OpenID.ClientSecret, RedirectURL: s.Pages.PublicURL + web.AnswerPath,
			Claim: s.OpenID.Claim, Label: s.OpenID.Label, Now: time.Now,
		})
	}
	pages, err := web.New(cfg)
	if err != nil {
		return err
	}
	pages.Mount(w.api)
	return nil
}
