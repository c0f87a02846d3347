package httpapi

import (
	"context"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/audit"
	"afterbeam/internal/export/listing"
	"afterbeam/internal/export/table"
	"afterbeam/internal/store"
)

// lastDay is behind every day of a procedure.
const lastDay = "9999-12-31"

// readerTime is how long the reader of a table may take for one piece of it.
const readerTime = 2 * time.Minute

// ExportProcedures streams the procedures of a filter as a table.
func (h *handlers) ExportProcedures(ctx context.Context, request ExportProceduresRequestObject) (ExportProceduresResponseObject, error) {
	p := request.Params
	return h.export(ctx, "procedures", exported{p.From, p.To, p.Room, p.Class, p.Device, p.Identified, p.Reason}, func(ctx context.Context, w io.Writer, ask listing.Ask) (table.Digest, error) {
		return listing.Procedures(ctx, w, h.store, ask)
	})
}

// ExportEvents streams the irradiation events of the procedures of a filter as a table.
func (h *handlers) ExportEvents(ctx context.Context, request ExportEventsRequestObject) (ExportEventsResponseObject, error) {
	p := request.Params
	return h.export(ctx, "events", exported{p.From, p.To, p.Room, p.Class, p.Device, p.Identified, p.Reason}, func(ctx context.Context, w io.Writer, ask listing.Ask) (table.Digest, error) {
		return listing.Events(ctx, w, h.store, h.cfg.Events, ask)
	})
}

// exported are the parameters of both operations.
type exported struct {
	from, to, room, class, device *string
	identified                    *bool
	reason                        *string
}

// export checks what is asked for and records it, before anything of it is read.
func (h *handlers) export(ctx context.Context, name string, p exported, write func(context.Context, io.Writer, listing.Ask) (table.Digest, error)) (*tableAnswer, error) {
	call := callOf(ctx)
	if err := days(p.from, p.to); err != nil {
		return nil, err
	}
	identified := or(p.identified)
	switch {
	case call.grant.Account.OwnCases:
		return nil, tell(access.ErrForbidden, "an account that sees its own cases alone exports no tables")
	case identified && call.grant.Role != access.Physicist:
		return nil, tell(access.ErrForbidden, "identifiers of patients are for physicists")
	case identified && strings.TrimSpace(or(p.reason)) == "":
		return nil, tell(store.ErrInvalid, "a table with identifiers of patients wants a reason")
	}
	ask := listing.Ask{
		Filter: store.SummaryFilter{
			From: or(p.from), To: lastDay, Rooms: call.grant.Account.Rooms, Room: or(p.room), Class: or(p.class), Device: or(p.device),
		},
		Identified: identified, Format: table.Machine, Program: h.cfg.Version, Made: h.cfg.Now(), Zone: h.cfg.Site,
	}
	if p.to != nil {
		ask.Filter.To = *p.to
	}
	if !h.tables.TryLock() {
		return nil, tell(errBusy, "another table is being written")
	}
	object := name + " without identifiers"
	if identified {
		object = name + " with identifiers"
	}
	note := func(ctx context.Context, r audit.Record) error {
		r.Action, r.Object, r.Reason = "table.export", object, or(p.reason)
		return h.store.Note(ctx, call.actor(), r)
	}
	if err := note(ctx, audit.Record{Outcome: "begun", Before: filterWords(ask.Filter)}); err != nil {
		h.tables.Unlock()
		return nil, err
	}
	return &tableAnswer{ctx: ctx, name: name, ask: ask, write: write, note: note, log: h.cfg.Logger, done: h.tables.Unlock}, nil
}

// filterWords tells a filter in the audit record.
func filterWords(f store.SummaryFilter) string {
	words := "days " + f.From + " to " + f.To
	for _, one := range []struct{ name, value string }{{"room", f.Room}, {"class", f.Class}, {"device", f.Device}} {
		if one.value != "" {
			words += ", " + one.name + " " + one.value
		}
	}
	return words
}

// tableAnswer is a table that is written while it is read.
type tableAnswer struct {
	ctx   context.Context //nolint:containedctx // the answer is written within the request
	name  string
	ask   listing.Ask
	write func(context.Context, io.Writer, listing.Ask) (table.Digest, error)
	note  func(context.Context, audit.Record) error
	log   *slog.Logger
	done  func()
}

// VisitExportProceduresResponse writes it.
func (a *tableAnswer) VisitExportProceduresResponse(w http.ResponseWriter) error { return a.visit(w) }

// VisitExportEventsResponse writes it.
func (a *tableAnswer) VisitExportEventsResponse(w http.ResponseWriter) error { return a.visit(w) }

// visit writes the rows and then, as trailers, what they are. A table that is not whole ends the connection, so that nobody takes
// it for whole; the audit record says how far it came.
func (a *tableAnswer) visit(w http.ResponseWriter) error {
	defer a.done()
	h := w.Header()
	h.Set("Content-Type", table.Machine.Media())
	h.Set("Content-Disposition", `attachment; filename="`+a.name+table.Machine.Ending()+`"`)
	h.Set("Trailer", "Table-Rows, Content-Digest")
	w.WriteHeader(http.StatusOK)
	digest, err := a.write(a.ctx, timedWriter{w, http.NewResponseController(w)}, a.ask)
	// The record is kept also when the reader has gone.
	ctx := context.WithoutCancel(a.ctx)
	ended := audit.Record{Before: filterWords(a.ask.Filter), After: fmt.Sprintf("%d rows, sha256 %s", digest.Rows, digest.SHA256)}
	if err != nil {
		ended.Outcome = "broken off"
	}
	if failed := a.note(ctx, ended); err == nil {
		err = failed
	}
	if err != nil {
		a.log.ErrorContext(ctx, "table cut off", "table", a.name, "rows", digest.Rows, "error", err)
		panic(http.ErrAbortHandler)
	}
	sum, err := hex.DecodeString(digest.SHA256)
	if err != nil {
		return fmt.Errorf("digest of the table: %w", err)
	}
	h.Set("Table-Rows", strconv.Itoa(digest.Rows))
	h.Set("Content-Digest", "sha-256=:"+base64.StdEncoding.EncodeToString(sum)+":") // RFC 9530 part 2
	return nil
}

// timedWriter gives the reader a time for each piece, in place of one for the whole, which no length of a table would fit.
type timedWriter struct {
	http.ResponseWriter
	control *http.ResponseController
}

// Write writes a piece. What is answered inside the process has no time to keep.
func (t timedWriter) Write(piece []byte) (int, error) {
	if err := t.control.SetWriteDeadline(time.Now().Add(readerTime)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	return t.ResponseWriter.Write(piece)
}
