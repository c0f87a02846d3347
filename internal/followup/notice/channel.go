package notice

import (
	"context"
	"errors"
)

// How the sending of a message failed. Any other error tells that nothing was delivered and that another try may be.
var (
	// ErrUnsure marks a try after which the message may have been delivered or not: the next one is a repeat.
	ErrUnsure = errors.New("may have been delivered")
	// ErrNever marks a message that the channel will not take however often it is tried.
	ErrNever = errors.New("will not be delivered")
)

// Message is what a channel carries. It bears no name or number of a patient.
type Message struct {
	// ID is the same in every repeat: receivers tell repeats by it.
	ID string
	// References are the notices in it.
	References []string
	// Account is whom it is for, Address where the channel finds that person.
	Account, Address string
	// Repeat tells that the message may have been delivered before.
	Repeat, Urgent bool
	Language       string
	Subject, Text  string
	// Link leads to the case behind the sign-in, "" without one.
	Link     string
	Pictures []Picture
	// Data is the content of every notice in it, as JSON.
	Data []byte
}

// Picture is a skin dose map.
type Picture struct {
	Name string // of a file, without anything that names a patient
	PNG  []byte
}

// Channel carries messages. An error wraps ErrUnsure or ErrNever where one of them holds; its text names no address and
// nothing of the message, since it is logged and kept.
type Channel interface {
	Send(ctx context.Context, m Message) error
}

// Link gives the address of the page of a case, which wants a sign-in; "" without the address of the pages or a case.
func Link(base, caseID string) string {
	if base == "" || caseID == "" {
		return ""
	}
	return base + "/cases/" + caseID
}
