package crashtest_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// senders is how many HTTP senders run at once, callers how many by the DICOM network, outstanding how many files the
// folder sender leaves in the spool folder.
const (
	senders     = 3
	callers     = 2
	outstanding = 4
)

// doors is a set of doors.
type doors struct{ http, folder, dicom bool }

// every is all doors.
func every() doors { return doors{http: true, folder: true, dicom: true} }

func (d doors) has(one doors) bool {
	return d.http && one.http || d.folder && one.folder || d.dicom && one.dicom
}

// reached is where a running service is.
type reached struct{ http, dicom string }

// load sends what a world invents, over and over until acknowledged, and writes the ledger.
type load struct {
	site   *site
	world  *world
	ledger *ledger

	mu       sync.Mutex
	at       reached // nowhere when no service runs
	used     doors   // now
	queue    []parcel
	draining bool
	faults   []string // answers that no sender should ever get
	answers  int
	busy     int // parcels taken and not yet acknowledged
	running  sync.WaitGroup
}

func newLoad(s *site, w *world) (*load, error) {
	l, err := openLedger(filepath.Join(s.dir, "ledger"))
	if err != nil {
		return nil, err
	}
	load := &load{site: s, world: w, ledger: l, used: every()}
	for range senders {
		load.running.Go(load.sendHTTP)
	}
	for range callers {
		load.running.Go(load.sendDICOM)
	}
	load.running.Go(load.sendFolder)
	return load, nil
}

// serve tells the senders where the service is, the zero value for nowhere.
func (l *load) serve(at reached) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.at = at
}

// through chooses the doors.
func (l *load) through(used doors) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.used = used
}

func (l *load) fault(format string, args ...any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.faults = append(l.faults, fmt.Sprintf(format, args...))
}

// drain has what is left sent and waits until all of it is acknowledged.
func (l *load) drain(within time.Duration) error {
	l.mu.Lock()
	l.draining, l.used = true, every()
	l.mu.Unlock()
	done := make(chan struct{})
	go func() {
		l.running.Wait()
		close(done)
	}()
	select {
	case <-done:
		return l.ledger.file.Close()
	case <-time.After(within):
		l.mu.Lock()
		defer l.mu.Unlock()
		return fmt.Errorf("%d in the queue and %d under way were not acknowledged within %v", len(l.queue), l.busy, within)
	}
}

// take gives the next parcel for a door; more is false when everything was sent.
func (l *load) take(door doors) (p parcel, address string, more bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.draining && len(l.queue) == 0 && (door.folder || l.busy == 0) {
		return p, "", false
	}
	if address = l.at.http; door.dicom {
		address = l.at.dicom
	}
	if address == "" || !l.used.has(door) {
		return p, "", true
	}
	if len(l.queue) == 0 && !l.draining {
		made, err := l.world.study()
		if err != nil {
			l.faults = append(l.faults, err.Error())
		}
		l.queue = made
	}
	if len(l.queue) == 0 {
		return p, "", true
	}
	p, l.queue = l.queue[0], l.queue[1:]
	l.busy++
	return p, address, true
}

// done takes a parcel off the list, or puts it back when it was not acknowledged.
func (l *load) done(p parcel, acknowledged bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.busy--
	if acknowledged {
		l.answers++
	} else {
		l.queue = append(l.queue, p)
	}
}

const pauseBetween = 3 * time.Millisecond

func (l *load) sendHTTP() {
	for {
		p, address, more := l.take(doors{http: true})
		switch {
		case !more:
			return
		case address == "":
			time.Sleep(pauseBetween)
		case overStow(p):
			l.done(p, l.stow(address, p))
		default:
			l.done(p, l.post(address, p))
		}
	}
}

// post sends one parcel and tells whether it was acknowledged, or refused as it must be.
func (l *load) post(address string, p parcel) bool {
	entry := line{What: "will", Door: "http", Digest: p.digest, Kind: p.kind}
	if err := l.ledger.write(entry); err != nil {
		l.fault("%v", err)
		return true
	}
	status, header, text, err := exchange(address, http.MethodPost, "/v1/reports", l.site.door, "application/dicom", p.raw)
	if err != nil {
		time.Sleep(pauseBetween)
		return false // no answer, or only a part of one
	}
	var receipt struct {
		ID     string
		Digest string `json:"digest_sha256"`
	}
	expected := map[kind][]int{dose: {200, 201}, odd: {200, 202}, junk: {400}}[p.kind]
	switch {
	case status == http.StatusServiceUnavailable:
		if header.Get("Retry-After") == "" {
			l.fault("503 without Retry-After")
		}
		time.Sleep(pauseBetween)
		return false
	case status != expected[0] && status != expected[len(expected)-1]:
		l.fault("%s object %s: status %d: %s", p.kind, p.digest, status, text)
	case status == http.StatusBadRequest:
	default:
		if err := json.Unmarshal(text, &receipt); err != nil || receipt.Digest != p.digest || receipt.ID == "" {
			l.fault("object %s: the receipt is not its own: %s", p.digest, text)
		}
	}
	entry.What, entry.Status, entry.Receipt = "answer", status, receipt.ID
	if err := l.ledger.write(entry); err != nil {
		l.fault("%v", err)
	}
	return true
}

// sendFolder puts files into the spool folder. A file is acknowledged when it is gone from there. One that waits for long,
// as after a kill, is handed in once more: it takes back the name of a file that is not whole, and gets its own again.
func (l *load) sendFolder() {
	waiting := map[string]handed{}
	for serial := 0; ; {
		for name, h := range waiting {
			_, err := os.Stat(name)
			switch {
			case errors.Is(err, fs.ErrNotExist):
				if err := l.ledger.write(line{What: "answer", Door: "folder", Digest: h.digest, Kind: h.kind}); err != nil {
					l.fault("%v", err)
				}
				delete(waiting, name)
				l.done(h.parcel, true)
			case time.Since(h.at) > handAgain && os.Rename(name, name+".part") == nil:
				if err := os.Rename(name+".part", name); err != nil {
					l.fault("%v", err)
				}
				waiting[name] = handed{h.parcel, time.Now()}
			}
		}
		if len(waiting) >= outstanding {
			time.Sleep(pauseBetween)
			continue
		}
		p, address, more := l.take(doors{folder: true})
		switch {
		case !more && len(waiting) == 0:
			return
		case address == "":
			time.Sleep(pauseBetween)
		default:
			serial++
			name := filepath.Join(l.site.spool(), fmt.Sprintf("report-%06d.dcm", serial))
			if err := l.drop(name, p); err != nil {
				l.fault("%v", err)
				l.done(p, true)
				continue
			}
			waiting[name] = handed{p, time.Now()}
		}
	}
}

// handed is a parcel in the spool folder and when it was put there.
type handed struct {
	parcel
	at time.Time
}

// handAgain is how long a file waits in the spool folder until it is handed in once more.
const handAgain = 200 * time.Millisecond

func (l *load) drop(name string, p parcel) error {
	if err := l.ledger.write(line{What: "will", Door: "folder", Digest: p.digest, Kind: p.kind}); err != nil {
		return err
	}
	if err := os.WriteFile(name+".part", p.raw, 0o600); err != nil {
		return err
	}
	return os.Rename(name+".part", name)
}
