package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"time"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/commitment"
	"afterbeam/internal/ingest/dimse/mpps"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/settings"
	"afterbeam/internal/upkeep"
)

// dicomDoor is the door to the DICOM network with its listeners, each nil where it is not wanted.
type dicomDoor struct {
	door             *dimse.Door
	encryption       *tls.Config
	plain, encrypted net.Listener
}

// dicomServices is all that the service answers on the DICOM network.
func dicomServices(k dimse.Keeper, steps mpps.Config, commitments *commitment.Service) []dimse.Service {
	return append(append([]dimse.Service{dimse.Verification()}, dimse.Storage(k)...), mpps.Service(steps), commitments.Offer())
}

// dicom makes the door of the DICOM network, nil where none is wanted.
func (w *works) dicom() (*dicomDoor, error) {
	s := w.settings.DICOM
	if s.Listen == "" && s.TLSListen == "" {
		return nil, nil
	}
	callers, err := callersOf(s)
	if err != nil {
		return nil, err
	}
	site, err := time.LoadLocation(w.settings.Zone)
	if err != nil {
		return nil, fmt.Errorf("%w: zone: %w", errUsage, err)
	}
	commitments, err := w.commitments()
	if err != nil {
		return nil, fmt.Errorf("%w: dicom: %w", errUsage, err)
	}
	w.doors = append(w.doors, commitments.Run)
	steps := mpps.Config{Steps: w.db, Site: site, Kept: w.pipeline.Wake}
	d := &dicomDoor{}
	if s.TLSListen != "" {
		d.encryption, err = dimse.Encryption{Certificate: s.Certificate, Key: s.Key, ClientCA: s.ClientCA, ClientsMust: s.ClientCertificates}.Read()
		if err != nil {
			return nil, fmt.Errorf("%w: dicom: %w", errUsage, err)
		}
	}
	log := w.log.With("door", dimse.DoorName)
	measures := dimse.NewMeasures(d.encryption, time.Now)
	d.door, err = dimse.New(dimse.Config{
		Title: s.Title, Callers: callers, Limits: dicomLimits(s), Associations: s.Associations, PerPeer: s.AssociationsPerPeer,
		Services: dicomServices(w.keeper, steps, commitments), Log: log, Measures: measures,
	})
	if err != nil {
		return nil, fmt.Errorf("%w: dicom: %w", errUsage, err)
	}
	if certificate := dimse.Certificate(d.encryption); certificate != nil {
		w.upkeep.Certificates = append(w.upkeep.Certificates, upkeep.Certificate{Name: "dicom", Ends: certificate.NotAfter})
		w.doors = append(w.doors, func(ctx context.Context) error { return dimse.WatchCertificate(ctx, certificate, time.Now, log) })
	}
	return d, w.api.Measure(measures)
}

// dicomLimits gives the limits of associations by the settings.
func dicomLimits(s settings.DICOM) upper.Limits {
	l := upper.DefaultLimits()
	l.PDU, l.Idle, l.DataSet = s.MaxPDU, time.Duration(s.IdleSeconds)*time.Second, dicomio.DefaultLimits().FileBytes
	return l
}

// commitments makes the service that commits to objects, with the peers that its answers go to.
func (w *works) commitments() (*commitment.Service, error) {
	s := w.settings.DICOM
	cfg := commitment.Config{Store: w.db, Title: s.Title, Log: w.log.With("door", dimse.DoorName), Now: time.Now}
	for _, c := range s.Callers {
		if c.ReportTo == "" {
			continue
		}
		requestor := upper.Requestor{Limits: dicomLimits(s), Calling: s.Title}
		if c.ReportByTLS {
			encryption, err := dimse.Encryption{Certificate: s.Certificate, Key: s.Key, ClientCA: s.ClientCA}.Read()
			if err != nil {
				return nil, err
			}
			encryption.RootCAs = encryption.ClientCAs
			requestor.Dialer = &tls.Dialer{Config: encryption}
		}
		cfg.Peers = append(cfg.Peers, commitment.Peer{Title: c.Title, Address: c.ReportTo, Requestor: requestor})
	}
	return commitment.New(cfg), nil
}

func callersOf(s settings.DICOM) ([]dimse.Caller, error) {
	var all []dimse.Caller
	for _, c := range s.Callers {
		networks, err := c.Networks()
		if err != nil {
			return nil, fmt.Errorf("%w: %w", errUsage, err)
		}
		all = append(all, dimse.Caller{Title: c.Title, Addresses: networks, Certificate: c.Certificate})
	}
	return all, nil
}

// listenDICOM opens the listeners of the DICOM network, so that their addresses are known before the service says that it
// serves.
func (w *works) listenDICOM(ctx context.Context) (err error) {
	if w.network == nil {
		return nil
	}
	for _, one := range []struct {
		address    string
		listener   *net.Listener
		encryption *tls.Config
	}{{w.settings.DICOM.Listen, &w.network.plain, nil}, {w.settings.DICOM.TLSListen, &w.network.encrypted, w.network.encryption}} {
		if one.address == "" {
			continue
		}
		l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", one.address)
		if err != nil {
			return errors.Join(fmt.Errorf("listen for DICOM: %w", err), w.network.close())
		}
		*one.listener = l
		w.log.Info("serving DICOM", "address", l.Addr().String(), "encrypted", one.encryption != nil)
		w.doors = append(w.doors, func(ctx context.Context) error { return w.network.door.Serve(ctx, l, one.encryption) })
	}
	return nil
}

// close closes the listeners when nothing was served yet.
func (d *dicomDoor) close() (err error) {
	for _, l := range []net.Listener{d.plain, d.encrypted} {
		if l != nil {
			err = errors.Join(err, l.Close())
		}
	}
	return err
}
