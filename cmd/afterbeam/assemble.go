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
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/ingest/spool"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
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

// assemble opens the store and puts doors, pipeline and interface around it.
func assemble(ctx context.Context, s settings.Settings, logger *slog.Logger, opened opening) (_ *works, err error) {
	method, err := siteMethod(s)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errUsage, err)
	}
	reading, err := zoneOption{s.Zone}.reading()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errUsage, err)
	}
	schedule, err := siteSchedule(s)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errUsage, err)
	}
	kept := store.Config{Dir: s.Store.Dir, Program: programVersion(), Beside: opened == beside, Schedule: &schedule, Site: reading.Site}
	if opened == synthetic {
		kept.Today = func() string { return demoDay }
	}
	db, err := store.Open(ctx, kept)
	if err != nil {
		return nil, fmt.Errorf("cannot open store %q: %w", s.Store.Dir, err)
	}
	w := &works{settings: s, db: db, log: logger, synthetic: opened == synthetic}
	if opened != beside {
		n, err := importProfiles(ctx, db, store.System("settings"), method.Profiles, "device profiles named in the settings")
		if err != nil {
			return nil, errors.Join(fmt.Errorf("tables.profiles: %w", err), db.Close())
		}
		if n.Signed+n.Drafts > 0 {
			logger.Info("device profiles imported", "signed", n.Signed, "drafts", n.Drafts)
		}
	}
	method.Profiles = nil // those of the store alone
	w.pipeline = &ingest.Pipeline{
		Store: db, Method: method, Reading: reading, Summarise: casejson.Marshal, Quiet: time.Duration(s.Pipeline.QuietMinutes) * time.Minute,
		Workers: s.Pipeline.Workers, LateDays: s.Notices.LateDays,
		Retention: ingest.Retention{Commitments: days(s.Pipeline.CommitmentDays), SkinSums: days(s.Pipeline.SkinSumDays)}, Fatal: w.fatal, Log: logger, Now: time.Now,
	}
	if w.papers, err = newPapers(s.Site, reading.Site, sums{method, db}, db); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	if n := s.Pipeline.OrganHistories; n > 0 {
		w.pipeline.Organs = &ingest.Organs{Budget: organ.Budget{Histories: n}}
	}
	w.keeper = &ingest.Keeper{Vault: db, Limits: dicomio.DefaultLimits(), Fatal: w.fatal, Kept: w.pipeline.Wake}
	w.api, err = httpapi.New(httpapi.Config{
		Version: programVersion(), TokenRate: s.HTTP.RequestsPerSecond, AddressRate: s.HTTP.RequestsPerSecond, BehindProxy: s.HTTP.BehindProxy,
		Now: time.Now, Logger: logger, Fatal: w.fatal, KnownClass: lexicon.Known, Events: eventsOf, Maps: pictures{}, Windows: sums{method, db}, Plans: plans{w.pipeline}, Levels: method.Levels, Papers: w.papers, Site: reading.Site, Notices: toldBy(s),
		MatchWindow: completenessRules(s).Window, Grace: completenessRules(s).Grace,
	}, db, w.keeper)
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	if err := w.mountPages(reading.Site); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	if w.courier, err = w.notices(reading.Site); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	if w.network, err = w.dicom(); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	if s.Spool.Dir != "" {
		w.doors = append(w.doors, func(ctx context.Context) error {
			return spool.Run(ctx, spool.Config{Dir: s.Spool.Dir, Keeper: w.keeper, Log: logger, Now: time.Now})
		})
	}
	return w, nil
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

// plans looks ahead from a patient's stored cases.
func days(n int) time.Duration { return time.Duration(n) * 24 * time.Hour }

type plans struct{ pipeline *ingest.Pipeline }

// Plan gives what planned beams would add to the skin that the cases irradiated.
func (p plans) Plan(ctx context.Context, cases []store.Case, ask outlook.Ask) (outlook.Document, error) {
	next, err := p.pipeline.NextStage(ctx, cases)
	if err != nil {
		return outlook.Document{}, err
	}
	return outlook.Of(next, ask)
}
