package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"afterbeam/internal/deliver"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/ingest/spool"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
)

// works are the parts of a service put together.
type works struct {
	settings settings.Settings
	db       *store.DB
	keeper   *ingest.Keeper
	pipeline *ingest.Pipeline
	papers   *papers
	api      *httpapi.Server
	network  *dicomDoor // nil for none
	courier  *deliver.Worker
	upkeep   *upkeep.Worker
	doors    []func(context.Context) error
	log      *slog.Logger
	// synthetic says that what the store holds is the demonstration's.
	synthetic bool
}

// opening says what an assembly of the service is for.
type opening int

const (
	toServe   opening = iota
	beside            // a store that another process serves
	synthetic         // the demonstration
)

// tables are what the site's files and settings say.
type tables struct {
	method   assessment.Method
	reading  rdsr.Options
	schedule ask.Schedule
}

func siteTables(s settings.Settings) (t tables, err error) {
	if t.method, err = siteMethod(s); err != nil {
		return t, err
	}
	if t.reading, err = (zoneOption{s.Zone}).reading(); err != nil {
		return t, err
	}
	t.schedule, err = siteSchedule(s)
	return t, err
}

// storeClock is the time by which a store writes what happens, and the day by which asks are made; nil is that of the machine.
type storeClock struct {
	now   func() time.Time
	today func() string
}

// assemble opens the store and puts doors, pipeline and interface around it.
func assemble(ctx context.Context, s settings.Settings, logger *slog.Logger, opened opening) (*works, error) {
	return assembleBy(ctx, s, logger, opened, storeClock{})
}

// assembleBy is assemble with a clock of the store's own.
func assembleBy(ctx context.Context, s settings.Settings, logger *slog.Logger, opened opening, by storeClock) (*works, error) {
	t, err := siteTables(s)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errUsage, err)
	}
	kept := store.Config{
		Dir: s.Store.Dir, Program: programVersion(), Beside: opened == beside, Schedule: &t.schedule, Site: t.reading.Site, Now: by.now, Today: by.today,
	}
	db, err := store.Open(ctx, kept)
	if err != nil {
		return nil, fmt.Errorf("cannot open store %q: %w", s.Store.Dir, err)
	}
	w := &works{settings: s, db: db, log: logger, synthetic: opened == synthetic}
	if opened != beside {
		err = w.importProfiles(ctx, t.method.Profiles)
	}
	t.method.Profiles = nil // those of the store alone
	if err == nil {
		err = w.build(t)
	}
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return w, nil
}

func (w *works) importProfiles(ctx context.Context, profiles []procedure.DeviceProfile) error {
	n, err := importProfiles(ctx, w.db, store.System("settings"), profiles, "device profiles named in the settings")
	if err != nil {
		return fmt.Errorf("tables.profiles: %w", err)
	}
	if n.Signed+n.Drafts > 0 {
		w.log.Info("device profiles imported", "signed", n.Signed, "drafts", n.Drafts)
	}
	return nil
}

// build makes the parts around an open store.
func (w *works) build(t tables) (err error) {
	s, site := w.settings, t.reading.Site
	w.pipeline = &ingest.Pipeline{
		Store: w.db, Method: t.method, Reading: t.reading, Summarise: casejson.Marshal, Quiet: time.Duration(s.Pipeline.QuietMinutes) * time.Minute,
		Workers: s.Pipeline.Workers, LateDays: s.Notices.LateDays,
		Retention: ingest.Retention{Commitments: days(s.Pipeline.CommitmentDays), SkinSums: days(s.Pipeline.SkinSumDays)}, Fatal: w.fatal, Log: w.log, Now: time.Now,
	}
	if n := s.Pipeline.OrganHistories; n > 0 {
		w.pipeline.Organs = &ingest.Organs{Budget: organ.Budget{Histories: n}}
	}
	windows := sums{t.method, w.db}
	if w.papers, err = newPapers(s.Site, site, windows, w.db); err != nil {
		return err
	}
	w.keeper = &ingest.Keeper{Vault: w.db, Limits: dicomio.DefaultLimits(), Fatal: w.fatal, Kept: w.pipeline.Wake}
	if w.upkeep, err = w.upkeepOf(); err != nil {
		return err
	}
	w.api, err = httpapi.New(httpapi.Config{
		Version: programVersion(), TokenRate: s.HTTP.RequestsPerSecond, AddressRate: s.HTTP.RequestsPerSecond, BehindProxy: s.HTTP.BehindProxy,
		Now: time.Now, Logger: w.log, Fatal: w.fatal, KnownClass: lexicon.Known, Events: eventsOf, Maps: pictures{w.pipeline}, Windows: windows, Plans: plans{w.pipeline, windows}, Levels: t.method.Levels, Lexicon: t.method.Lexicon, Papers: w.papers, Site: site, Notices: toldBy(s),
		Releases: releases{w.db}, MatchWindow: completenessRules(s).Window, Grace: completenessRules(s).Grace,
		Upkeep: w.upkeep, Centre: s.Site.Centre, Department: s.Site.Department, Notice: noticeOf(w.synthetic),
	}, w.db, w.keeper)
	if err != nil {
		return err
	}
	if err := w.mountPages(site); err != nil {
		return err
	}
	if w.courier, err = w.notices(site); err != nil {
		return err
	}
	if w.network, err = w.dicom(); err != nil {
		return err
	}
	if s.Spool.Dir != "" {
		w.doors = append(w.doors, func(ctx context.Context) error {
			return spool.Run(ctx, spool.Config{Dir: s.Spool.Dir, Keeper: w.keeper, Log: w.log, Now: time.Now})
		})
	}
	return nil
}

func (w *works) close() error { return w.db.Close() }

// fatal ends the process after a failed fsync: what is on the disk is known again only after a new start.
func (w *works) fatal(err error) {
	w.log.Error("storage failed, the process ends", "error", err)
	os.Exit(exitPartial)
}

// eventsOf reads the irradiation events of a version.
func eventsOf(v store.Version) ([]procedure.Event, error) {
	c, err := archive.ReadProcedure(v.Body)
	return c.Procedure.Events, err
}

func days(n int) time.Duration { return time.Duration(n) * 24 * time.Hour }
