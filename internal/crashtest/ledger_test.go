package crashtest_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"sync"
)

// line is an entry of the senders' ledger: what is about to be sent, and what was answered.
type line struct {
	What    string // "will" or "answer"
	Door    string // "http", "stow", "folder" or "dicom"
	Digest  string // of the bytes sent
	Kind    kind
	Status  int    `json:",omitempty"` // of the answer over HTTP, or to the C-STORE
	Receipt string `json:",omitempty"` // id in the answer
}

// positive tells whether an answer says that the object is on stable storage. Success of a C-STORE is 0.
func (l line) positive() bool {
	switch l.Door {
	case "folder":
		return true
	case "dicom":
		return l.Status == 0 || l.Status == 0xB007
	}
	return l.Status >= 200 && l.Status < 300
}

// ledger is the senders' own append-only memory, synced line by line.
type ledger struct {
	mu   sync.Mutex
	file *os.File
}

func openLedger(name string) (*ledger, error) {
	file, err := os.OpenFile(name, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	return &ledger{file: file}, err
}

func (l *ledger) write(entry line) error {
	text, err := json.Marshal(entry)
	if err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, err := l.file.Write(append(text, '\n')); err != nil {
		return fmt.Errorf("write ledger: %w", err)
	}
	return l.file.Sync()
}

// account is what the ledger says about one stream of bytes.
type account struct {
	kind     kind
	sent     bool
	kept     bool            // some answer said that it is on stable storage
	receipts map[string]bool // ids that the answers named
}

// readLedger sums a ledger up by digest.
func readLedger(name string) (map[string]*account, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = file.Close() }() // only read
	all := map[string]*account{}
	scanner := bufio.NewScanner(file)
	for scanner.Scan() {
		var entry line
		if err := json.Unmarshal(scanner.Bytes(), &entry); err != nil {
			return nil, fmt.Errorf("read ledger: %w", err)
		}
		a := all[entry.Digest]
		if a == nil {
			a = &account{kind: entry.Kind, receipts: map[string]bool{}}
			all[entry.Digest] = a
		}
		switch {
		case entry.What == "will":
			a.sent = true
		case entry.positive():
			a.kept = a.kept || entry.Kind != junk
			if entry.Receipt != "" {
				a.receipts[entry.Receipt] = true
			}
		}
	}
	return all, scanner.Err()
}
