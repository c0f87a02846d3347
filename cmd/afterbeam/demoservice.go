package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

// demoWithin bounds how long the demonstration's service may take over its reports.
const demoWithin = 10 * time.Minute

// demoDay is the day on which people of the demonstration are asked: that of the second stage of its staged repair. Later
// procedures are asked about from their own day.
const demoDay = "2026-10-27"

// demoService is a service on loopback in the demonstration's own folder, with a token for each role that it needs.
type demoService struct {
	works        *works
	address      string
	tokens       map[access.Role]string
	second       string            // token of a second physicist, who signs what the first wrote
	logins       []demoLogin       // who signs in to the pages
	certificates demo.Certificates // of the DICOM network
	clock        *demoClock
	accounts     map[access.Role]string // ids of those who answer asks
	stop         func() error
}

// startDemo runs the service of the demonstration, with doors to the DICOM network where the service is to stay.
func startDemo(ctx context.Context, dir, profiles string, stays bool, messages io.Writer) (*demoService, error) {
	s := settings.Default()
	s.Store.Dir, s.HTTP.Listen, s.Metrics.Listen = filepath.Join(dir, "store"), "127.0.0.1:0", ""
	s.Zone, s.Tables.Profiles, s.HTTP.RequestsPerSecond, s.Log.Level = "UTC", profiles, 1000, "warn"
	s.Notices.Outbox.Dir = filepath.Join(dir, outboxFolder)
	s.Notices.LateDays = 1 // what the year holds is told to nobody
	s.Site = demoSite()
	logger, err := logTo(messages, s.Log.Level)
	if err != nil {
		return nil, err
	}
	d := &demoService{tokens: map[access.Role]string{}, clock: &demoClock{}, accounts: map[access.Role]string{}}
	s.Pipeline.OrganHistories = 0 // the demonstration prints its own
	if stays {
		s.Pipeline.OrganHistories = demoHistories
		if err := d.network(&s.DICOM, dir); err != nil {
			return nil, err
		}
	}
	w, err := assembleBy(ctx, s, logger, synthetic, storeClock{d.clock.now, d.clock.today})
	if err != nil {
		return nil, err
	}
	d.works = w
	if err := d.people(ctx); err != nil {
		return nil, errors.Join(err, w.close())
	}
	if stays {
		if err := d.signIns(ctx); err != nil {
			return nil, errors.Join(err, w.close())
		}
	}
	ctx, cancel := context.WithCancel(ctx)
	started, ended := make(chan string, 1), make(chan error, 1)
	go func() { ended <- w.run(ctx, func(address string) { started <- address }) }()
	d.stop = func() error {
		cancel()
		return errors.Join(<-ended, w.close())
	}
	select {
	case d.address = <-started:
		return d, nil
	case err := <-ended:
		cancel()
		return nil, errors.Join(err, w.close())
	}
}

// network opens the service to the DICOM network on loopback, plain and with certificates of the demonstration's own.
func (d *demoService) network(s *settings.DICOM, dir string) (err error) {
	folder := filepath.Join(dir, "certificates")
	if err := os.Mkdir(folder, 0o700); err != nil {
		return fmt.Errorf("make folder of certificates: %w", err)
	}
	if d.certificates, err = demo.MakeCertificates(folder, time.Now()); err != nil {
		return err
	}
	s.Listen, s.TLSListen = "127.0.0.1:0", "127.0.0.1:0"
	s.Certificate, s.Key, s.ClientCA = d.certificates.Server, d.certificates.ServerKey, d.certificates.Authority
	return nil
}

// senders gives the commands by which DCMTK sends a report to the service.
func (d *demoService) senders(report string) []string {
	base := func(address net.Addr) string {
		host, port, _ := net.SplitHostPort(address.String())
		return fmt.Sprintf("-aet CATH2 -aec %s %s %s %s", d.works.settings.DICOM.Title, host, port, report)
	}
	c := d.certificates
	return []string{
		"storescu -v " + base(d.works.network.plain.Addr()),
		fmt.Sprintf("storescu -v +tls %s %s +cf %s %s", c.ClientKey, c.Client, c.Authority, base(d.works.network.encrypted.Addr())),
	}
}

// people makes an account with a token for the roles of the demonstration, and for a second physicist.
func (d *demoService) people(ctx context.Context) (err error) {
	for _, role := range []access.Role{access.Service, access.Physicist} {
		if d.tokens[role], d.accounts[role], err = d.person(ctx, "demo "+string(role), role); err != nil {
			return err
		}
	}
	if d.second, _, err = d.person(ctx, "demo second physicist", access.Physicist); err != nil {
		return err
	}
	return d.operators(ctx)
}

// person makes an account and gives a token of it, and its id.
func (d *demoService) person(ctx context.Context, name string, role access.Role) (token, id string, err error) {
	account, err := d.works.db.AddAccount(ctx, store.System("demo"), name, string(role), nil)
	if err != nil {
		return "", "", err
	}
	secret := access.NewSecret()
	_, err = d.works.db.AddToken(ctx, store.System("demo"), account.ID, secret.Prefix, secret.Hash, "demonstration", time.Now().Add(24*time.Hour))
	return secret.Text, account.ID, err
}

// call sends one request to the service and reads its answer into to.
func (d *demoService) call(ctx context.Context, role access.Role, method, path, contentType string, body []byte, to any) error {
	r, err := http.NewRequestWithContext(ctx, method, "http://"+d.address+path, bytes.NewReader(body))
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+d.tokens[role])
	r.Header.Set("Content-Type", contentType)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	text, err := io.ReadAll(answer.Body)
	if err = errors.Join(err, answer.Body.Close()); err != nil {
		return err
	}
	if answer.StatusCode >= http.StatusBadRequest {
		return fmt.Errorf("%s %s: %s: %s", method, path, answer.Status, text)
	}
	return json.Unmarshal(text, to)
}

// deliver posts every report and waits until the service has assessed them all.
func (d *demoService) deliver(ctx context.Context, names []string) error {
	for _, name := range names {
		body, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		var receipt httpapi.Receipt
		if err := d.call(ctx, access.Service, http.MethodPost, "/v1/reports", "application/dicom", body, &receipt); err != nil {
			return err
		}
		if filepath.Base(name) == demo.StagedFirst { // weeks lie between the two stages
			if err := d.through(ctx); err != nil {
				return err
			}
		}
	}
	return d.through(ctx)
}

// through waits until the service has assessed what it has.
func (d *demoService) through(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, demoWithin)
	defer cancel()
	if err := d.works.drained(ctx); err != nil {
		return fmt.Errorf("the service did not get through its reports: %w", err)
	}
	return nil
}

// show asks the service what a physicist would: how many procedures, which are flagged, and what the patient of the staged
// repair received in all.
func (d *demoService) show(ctx context.Context, p *printer, number string) error {
	var page httpapi.ProcedurePage
	if err := d.call(ctx, access.Physicist, http.MethodGet, "/v1/procedures?limit=100", "", nil, &page); err != nil {
		return err
	}
	reached := 0
	for _, one := range page.Procedures {
		if one.Flag == httpapi.ProcedureFlagReached {
			reached++
		}
	}
	var found httpapi.PatientList
	question, err := json.Marshal(httpapi.PatientSearch{Number: number})
	if err != nil {
		return err
	}
	if err := d.call(ctx, access.Physicist, http.MethodPost, "/v1/patients/search", "application/json", question, &found); err != nil {
		return err
	}
	if len(found.Patients) != 1 {
		return fmt.Errorf("patient of the staged repair: found %d records", len(found.Patients))
	}
	var dose httpapi.CumulativeDose
	if err := d.call(ctx, access.Physicist, http.MethodGet, "/v1/patients/"+found.Patients[0].Id+"/dose", "", nil, &dose); err != nil {
		return err
	}
	p.say("\nthe same reports through the service, over HTTP: %d procedures kept and assessed, %d with a level reached", len(page.Procedures), reached)
	p.say("cumulative dose of the patient of the staged repair, as the service answers it:")
	for _, w := range dose.Windows {
		p.say("  %-10s %d procedures, Ka,r %s, KAP %s, peaks of the skin dose added up %s (estimated upper bound), levels %s", span(w.Days), w.Procedures,
			answered(w.KermaGy, "Gy", levelsOf(w, level.Kerma)), answered(w.KapGyCm2, "Gy cm2", levelsOf(w, level.KAP)),
			answered(w.PeakSkinUpperGy, "Gy", levelsOf(w, level.PSD)), w.State)
		p.say("             on one body: peak estimated %s, range %s to %s (k=2), maps of %d procedures", answered(w.PeakSkinMappedGy, "Gy", levelsOf(w, level.PSD)),
			answered(w.PeakSkinMappedLowGy, "Gy", levelsOf(w, level.PSD)), answered(w.PeakSkinMappedHighGy, "Gy", levelsOf(w, level.PSD)), w.PeakSkinMappedFrom)
	}
	return p.err
}

// complete hands in the table of what was performed and asks which reports are not there.
func (d *demoService) complete(ctx context.Context, p *printer, table string) error {
	body, err := os.ReadFile(table)
	if err != nil {
		return err
	}
	var taken httpapi.ImportResult
	if err := d.call(ctx, access.Service, http.MethodPost, "/v1/performed", "text/csv", body, &taken); err != nil {
		return err
	}
	var list httpapi.Completeness
	if err := d.call(ctx, access.Physicist, http.MethodGet, "/v1/completeness?from=2026-09-01&to=2026-12-31", "", nil, &list); err != nil {
		return err
	}
	// What is within the days of grace depends on the day on which the demonstration runs.
	p.say("\nperformed procedures against reports: %d performed, %d reported, %d filed under another study, %d without a report, %d excluded",
		list.Performed, list.Reported, list.Elsewhere, list.Missing+list.Pending, list.Excluded)
	for _, row := range list.Rows {
		switch row.Outcome {
		case httpapi.CompletenessRowOutcomeMissing, httpapi.CompletenessRowOutcomePending:
			p.say("  order %s in %s: no report", row.AccessionNumber, row.Room)
		case httpapi.CompletenessRowOutcomeElsewhere:
			p.say("  order %s in %s: report filed under another study, found by %s", row.AccessionNumber, row.Room, row.FoundBy)
		case httpapi.CompletenessRowOutcomeReported, httpapi.CompletenessRowOutcomeExcluded, httpapi.CompletenessRowOutcomeUnannounced:
		}
	}
	return p.err
}

func span(days *int) string {
	if days == nil {
		return "all time"
	}
	return fmt.Sprintf("%d days", *days)
}

// answered prints a number of the service; one below a level never prints as that level.
func answered(v *float64, unit string, levels []float64) string {
	if v == nil {
		return "-"
	}
	return quantity.Below(*v, 2, levels...) + " " + unit
}

// levelsOf gives the levels that a window's sum of a quantity was compared with, in the unit that people read.
func levelsOf(w httpapi.Window, q level.Quantity) []float64 {
	_, size := q.Unit()
	var levels []float64
	for _, f := range w.Flags {
		if f.Quantity == string(q) && f.Level != nil {
			levels = append(levels, *f.Level/size)
		}
	}
	return levels
}

// stay keeps the service up until it is told to stop.
func (d *demoService) stay(ctx context.Context, c console, report string) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	senders := d.senders(report)
	_, err := fmt.Fprintf(c.out, `
pages     http://%s (until interrupted), in a browser
%sservice   http://%s/v1
token     %s   (physicist)
token     %s   (second physicist, who signs device profiles that the first wrote)
token     %s   (hands in reports)
try       curl -H "Authorization: Bearer %s" http://%s/v1/flags
send      %s
over TLS  %s
`, d.address, d.signInLines(), d.address, d.tokens[access.Physicist], d.second, d.tokens[access.Service], d.tokens[access.Physicist], d.address, senders[0], senders[1])
	<-ctx.Done()
	return err
}
