package dicomweb

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"strings"

	"afterbeam/internal/export/dicommodel"
	"afterbeam/internal/ingest"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// door names this door in receipts.
const door = "dicomweb"

var (
	errOtherStudy  = errors.New("the object is of another study than the request")
	errOtherObject = errors.New("the file meta names another object than the data set")
)

// store is the Store transaction (PS3.18, 10.5): every part goes through the keeper as it comes in.
func (o *Origin) store(w http.ResponseWriter, r *http.Request, c Call) error {
	if r.URL.RawQuery != "" {
		return refuse(store.ErrInvalid, "this operation takes no query")
	}
	answer, _, err := choose(r.Header, storeOffers())
	if err != nil {
		return err
	}
	boundary, err := boundaryOf(r)
	if err != nil {
		return err
	}
	weight := r.ContentLength
	if weight < 0 || weight > o.cfg.ObjectLimit {
		weight = o.cfg.ObjectLimit
	}
	release, err := o.cfg.Hold(r.Context(), weight)
	if err != nil {
		return err
	}
	defer release()
	in := intake{origin: o, call: c, body: &watched{Reader: r.Body}}
	if err := in.all(r.Context(), multipart.NewReader(in.body, boundary)); err != nil {
		return err
	}
	return o.answer(w, r, answer, in.outcome)
}

// answer writes the Store Instances Response Module.
func (o *Origin) answer(w http.ResponseWriter, r *http.Request, as offer, out outcome) error {
	d := out.dataSet(func(uids ...string) string { return o.place(r, uids...) })
	status := out.status()
	w.Header().Set("Content-Type", as.media)
	switch status {
	case http.StatusServiceUnavailable:
		w.Header().Set("Retry-After", "5")
	case http.StatusRequestEntityTooLarge:
		w.Header().Set("Connection", "close")
	}
	w.WriteHeader(status)
	if as.media == dicommodel.XMLMediaType {
		return dicommodel.WriteXML(w, d)
	}
	return dicommodel.WriteOne(w, d)
}

// boundaryOf reads the media type of a Store request.
func boundaryOf(r *http.Request) (string, error) {
	const want = `this operation wants a body of multipart/related; type="application/dicom"`
	if coding := r.Header.Get("Content-Encoding"); coding != "" && coding != "identity" {
		return "", refuse(ErrMediaType, "this operation wants a body without a content coding")
	}
	media, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil && media == "" {
		return "", refuse(ErrMediaType, want)
	}
	kind := strings.ToLower(params["type"])
	if media != mediaRelated || kind != "" && kind != mediaDICOM {
		return "", refuse(ErrMediaType, want)
	}
	// A boundary of more than 70 characters is none (RFC 2046, 5.1.1).
	boundary := params["boundary"]
	if err != nil || boundary == "" || len(boundary) > 70 {
		return "", refuse(store.ErrInvalid, "the content type names no boundary of 1 to 70 characters")
	}
	return boundary, nil
}

// intake takes the parts of one request.
type intake struct {
	origin  *Origin
	call    Call
	body    *watched // all of it
	outcome outcome
	full    bool // the storage took nothing; what follows is only named
}

// all takes every part. The error is that of a request of which nothing is to be answered part by part: nothing kept and
// no part that was whole.
func (in *intake) all(ctx context.Context, body *multipart.Reader) error {
	for {
		part, err := body.NextRawPart()
		if err == io.EOF { //nolint:errorlint // the end is io.EOF itself; one that came too early is wrapped
			break
		}
		if err == nil && len(in.outcome.results) == in.origin.cfg.MostParts {
			err = fmt.Errorf("%w: more than %d parts", object.ErrTooLarge, in.origin.cfg.MostParts)
		}
		if err == nil {
			err = in.take(ctx, part)
		}
		if err != nil {
			return in.cut(ctx, err)
		}
	}
	if len(in.outcome.results) == 0 {
		return refuse(store.ErrInvalid, "the body holds no part")
	}
	return nil
}

// cut ends a request whose body could not be read to its end. What was kept before stays kept and is answered.
func (in *intake) cut(ctx context.Context, err error) error {
	if ctx.Err() != nil && in.body.err == nil {
		return ctx.Err()
	}
	if in.outcome.every(func(r result) bool { return !r.kept() }) {
		if in.body.err != nil || errors.Is(err, object.ErrTooLarge) {
			return err // the reader of the body gave its kind
		}
		return refuse(store.ErrInvalid, "the body is no whole multipart/related message: it ended before its last boundary or is not well formed")
	}
	r := result{reason: NotUnderstood}
	if errors.Is(err, object.ErrTooLarge) {
		r.reason = NoResources
	}
	in.outcome.add(r)
	return nil
}

// watched remembers how reading failed, to tell a broken body from a failing storage.
type watched struct {
	io.Reader
	err error
}

// Read reads on.
func (w *watched) Read(p []byte) (int, error) {
	n, err := w.Reader.Read(p)
	if err != nil && err != io.EOF {
		w.err = err
	}
	return n, err
}

// capped ends a part that is larger than an object may be.
type capped struct {
	io.Reader
	left int64
}

// Read reads on.
func (c *capped) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	if c.left -= int64(n); c.left < 0 {
		return 0, fmt.Errorf("%w: object", object.ErrTooLarge)
	}
	return n, err
}

// take takes one part. Its error is that of the body.
func (in *intake) take(ctx context.Context, part *multipart.Part) error {
	if media, _, err := mime.ParseMediaType(part.Header.Get("Content-Type")); part.Header.Get("Content-Type") != "" && (err != nil || media != mediaDICOM) {
		in.add(result{reason: NotUnderstood, mediaType: true})
		_, err := io.Copy(io.Discard, part)
		return err
	}
	body := &watched{Reader: part}
	if in.full {
		return in.nameOnly(body)
	}
	var id dicomio.Identity
	receipt, answer, err := in.origin.cfg.Keeper.KeepIf(ctx, in.call.actor(), door, &capped{body, in.origin.cfg.ObjectLimit}, func(seen dicomio.Identity) error {
		id = seen
		return in.fits(seen)
	})
	switch {
	case err == nil:
		one := of(receipt, id.SeriesUID)
		in.outcome.add(one)
		in.origin.cfg.Counted(counted(one, answer))
		return nil
	case body.err != nil:
		return body.err
	case ctx.Err() != nil:
		return ctx.Err()
	}
	one := result{class: id.SOPClassUID, instance: id.SOPInstanceUID, reason: NotUnderstood}
	switch {
	case errors.Is(err, errOtherStudy), errors.Is(err, errOtherObject):
		one.reason = Mismatch
	case errors.Is(err, object.ErrTooLarge):
		one.tooLarge = true
	case errors.Is(err, ingest.ErrRefused):
	default:
		one.reason, in.full = NoResources, true
	}
	in.add(one)
	return nil
}

func (in *intake) add(r result) {
	in.outcome.add(r)
	in.origin.cfg.Counted("refused")
}

func counted(r result, answer ingest.Answer) string {
	switch {
	case answer == ingest.Again:
		return "again"
	case r.reason != 0:
		return "quarantined"
	}
	return "stored"
}

// nameOnly reads what a part says it is, after the storage failed: trying each of the following parts would let the
// sender wait for every one of them.
func (in *intake) nameOnly(body *watched) error {
	var whole bytes.Buffer
	if _, err := io.Copy(&whole, io.LimitReader(body, in.origin.cfg.ObjectLimit)); err != nil {
		return err
	}
	id, _ := dicomio.Identify(whole.Bytes(), in.origin.limits) // what could not be seen is not named
	in.add(result{class: id.SOPClassUID, instance: id.SOPInstanceUID, reason: NoResources})
	return nil
}

// fits refuses an object that is not of the request's study, or whose file meta is not its own.
func (in *intake) fits(id dicomio.Identity) error {
	differ := func(meta, own string) bool { return meta != "" && own != "" && meta != own }
	switch {
	case id.SOPInstanceUID == "": // the keeper refuses it for that
	case in.call.Study != "" && id.StudyUID != in.call.Study:
		return errOtherStudy
	case differ(id.MetaSOPClassUID, id.SOPClassUID), differ(id.MetaSOPInstanceUID, id.SOPInstanceUID):
		return errOtherObject
	}
	return nil
}
