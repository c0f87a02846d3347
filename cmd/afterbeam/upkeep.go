package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/metric"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
)

// backups are those of the settings.
func backups(s settings.Settings) upkeep.Backups {
	return upkeep.Backups{Dir: s.Backup.Dir, Every: time.Duration(s.Backup.EveryHours) * time.Hour, Keep: s.Backup.Keep, Verify: s.Backup.Verify}
}

// retention is that of the settings.
func retention(s settings.Settings) store.Retention {
	return store.Retention{
		Sessions: days(s.Retention.SessionDays), Notices: days(s.Retention.NoticeDays), Versions: days(s.Retention.SupersededDays),
		Commitments: days(s.Pipeline.CommitmentDays), SkinSums: days(s.Pipeline.SkinSumDays),
	}
}

// upkeep is the worker of the service.
func (w *works) upkeepOf() (*upkeep.Worker, error) {
	s := w.settings
	worker := &upkeep.Worker{
		Store: w.db, StoreDir: s.Store.Dir, Backups: backups(s), Retention: retention(s), ChainEvery: time.Duration(s.Audit.VerifyHours) * time.Hour,
		Program: programVersion(), Started: time.Now(), Now: time.Now, Log: w.log, Fatal: w.fatal,
	}
	if s.HTTP.Certificate == "" {
		return worker, nil
	}
	pair, err := certificate(s.HTTP)
	if err != nil {
		return nil, err
	}
	worker.Certificates = []upkeep.Certificate{{Name: "http", Ends: pair.Leaf.NotAfter}}
	return worker, nil
}

type drillCommand struct {
	From    string `placeholder:"FOLDER" type:"existingdir" help:"The backup to try; the newest of backup.dir by default."`
	Scratch string `placeholder:"FOLDER" type:"existingdir" help:"Where the restored store lies meanwhile; it holds patients' data. The system's temporary folder by default."`
	Keep    bool   `help:"Leave the restored store there."`
	configOption
}

// Run tries a restore and prints its report; the exit status is 0 when the backup would have brought the store back.
func (d *drillCommand) Run(c console) error {
	s, err := d.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	from, err := d.backup(s)
	if err != nil {
		return err
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		drill := upkeep.Drill{Store: db, From: from, Scratch: d.Scratch, Keep: d.Keep, Program: programVersion(), Now: time.Now}
		found, err := drill.Run(ctx)
		if err != nil && !errors.Is(err, upkeep.ErrUnsound) {
			return err
		}
		p := printer{w: c.out}
		printDrill(&p, found, d.Keep, s)
		if p.err == nil && err != nil {
			return errDrill
		}
		return p.err
	})
}

// errDrill tells that the report on standard output has no good end.
var errDrill = errors.New("the backup would not have brought the store back whole")

func (d *drillCommand) backup(s settings.Settings) (upkeep.Copy, error) {
	if d.From != "" {
		return upkeep.Copy{Dir: d.From}, nil
	}
	if s.Backup.Dir == "" {
		return upkeep.Copy{}, fmt.Errorf("%w: backup.dir is not set; give the backup by --from", errUsage)
	}
	all, err := backups(s).List()
	if err != nil {
		return upkeep.Copy{}, err
	}
	if len(all) == 0 {
		return upkeep.Copy{}, fmt.Errorf("%w: no backup in %q", store.ErrNotFound, s.Backup.Dir)
	}
	return all[0], nil
}

// printDrill prints the report of a drill, to be read and signed.
func printDrill(p *printer, r upkeep.Result, kept bool, s settings.Settings) {
	p.say("RESTORE DRILL of afterbeam")
	if s.Site.Centre != "" {
		p.say("  centre         %s", s.Site.Centre)
	}
	p.say("  begun          %s", r.Begun.UTC().Format(time.RFC3339))
	p.say("  program        %s", programVersion())
	p.say("  backup         %s", r.From.Dir)
	if !r.From.At.IsZero() {
		p.say("  made           %s, %s before the drill", r.From.At.Format(time.RFC3339), r.Begun.Sub(r.From.At).Round(time.Second))
	}
	for _, step := range r.Steps {
		p.say("  %-14s %.3f s", step.Name, step.Took.Seconds())
	}
	p.say("  in all         %.3f s until a verified store of %d bytes", r.Took().Seconds(), r.Bytes)
	p.say("")
	p.say("  verification   %s", upkeep.Told(r.Verification))
	if r.Damaged != nil {
		p.say("  damaged        %s", r.Damaged)
	}
	c := r.Comparison
	continued := "the store's own chain goes on from there"
	if !c.Continued {
		continued = "the store's own chain has another record there"
	}
	p.say("  audit chain    ends at record %d of %s; %s", c.Head.Sequence, c.Head.Time.Format(time.RFC3339), continued)
	p.say("  receipts       %d compared by their digests with the store, %d lost", c.Receipts, len(c.Lost))
	p.say("  estimates      %d compared by their digests with the store, %d removed since by retention", c.Estimates, c.Gone)
	p.say("  differing      %d", len(c.Differing))
	for _, one := range c.Differing {
		p.say("    %s", one)
	}
	for _, one := range c.Lost {
		p.say("    lost: receipt %s", one)
	}
	p.say("")
	p.say("  %-28s%12s%12s", "table", "in backup", "in store")
	for _, t := range c.Tables {
		if t.Copy > 0 || t.Here > 0 {
			p.say("  %-28s%12d%12d", t.Name, t.Copy, t.Here)
		}
	}
	p.say("")
	p.say("  RESULT         %s", map[bool]string{true: "the backup brings the store back as it was when the backup was made", false: errDrill.Error()}[r.Sound()])
	if kept {
		p.say("  restored to    %s (holds patients' data)", r.Restored)
	}
	p.say("")
	p.say("  carried out by ______________________________  date ______________")
	p.say("  reviewed by    ______________________________  date ______________")
}

type metricsCommand struct {
	Rules bool `help:"Print the alarms as alerting rules for Prometheus (YAML)."`
}

// Run prints the tables of measurements and alarms.
func (m *metricsCommand) Run(c console) error {
	if m.Rules {
		return metric.WriteRules(c.out)
	}
	return metric.Write(c.out)
}
