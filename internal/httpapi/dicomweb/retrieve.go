package dicomweb

import (
	"bytes"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"slices"

	"afterbeam/internal/access"
	"afterbeam/internal/export/dicommodel"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// ErrDamaged marks a kept object whose bytes are damaged or missing.
var ErrDamaged = errors.New("stored bytes are damaged or missing")

// mostRetrieved is how many instances one Retrieve gives.
const mostRetrieved = 1000

// wanted lists the instances of a path and writes that they are about to be seen. None is not found.
func (o *Origin) wanted(r *http.Request, c Call, action string) ([]store.Instance, error) {
	if r.URL.RawQuery != "" || r.ContentLength != 0 {
		return nil, refuse(store.ErrInvalid, "this operation takes no query and no body")
	}
	q := query{level: instanceLevel}
	q.narrow(c)
	if c.Instance != "" {
		q.filter.Instances = []string{c.Instance}
	}
	q.filter.Limit = mostRetrieved + 1
	found, err := o.cfg.Store.Instances(r.Context(), q.filter)
	switch {
	case err != nil:
		return nil, err
	case len(found) > mostRetrieved:
		return nil, refuse(store.ErrInvalid, fmt.Sprintf("more than %d instances: retrieve them by series or one by one", mostRetrieved))
	case len(found) == 0:
		return nil, o.missing(r, q)
	}
	for _, i := range found {
		if err := o.cfg.Store.Viewed(r.Context(), c.actor(), action, i.Receipt.ID, i.PatientID); err != nil {
			return nil, err
		}
	}
	return found, nil
}

// missing tells what is not there from what lies outside of the caller's rooms: the answer is the same, the audit record
// is not.
func (o *Origin) missing(r *http.Request, q query) error {
	if q.filter.Rooms != nil {
		q.filter.Rooms, q.filter.Limit = nil, 1
		if all, err := o.cfg.Store.Instances(r.Context(), q.filter); err != nil || len(all) > 0 {
			return errors.Join(err, fmt.Errorf("%w: instances", access.ErrOutside))
		}
	}
	return fmt.Errorf("%w: instances", store.ErrNotFound)
}

// object gives the bytes of an instance as they go out.
func (o *Origin) object(r *http.Request, i store.Instance) (raw []byte, release func(), err error) {
	release, err = o.cfg.Hold(r.Context(), i.Receipt.Size)
	if err != nil {
		return nil, nil, err
	}
	if raw, err = o.cfg.Store.Raw(i.Receipt.Digest); err != nil {
		release()
		return nil, nil, fmt.Errorf("%w: receipt %s: %w", ErrDamaged, i.Receipt.ID, err)
	}
	return withoutPreamble(raw), release, nil
}

// withoutPreamble zeroes the preamble, in which another kind of file could hide (PS3.10, 7.1); it belongs to no data set.
// All other bytes go out as they came in.
func withoutPreamble(raw []byte) []byte {
	const preamble = 128
	if len(raw) < preamble+4 || string(raw[preamble:preamble+4]) != "DICM" || bytes.Count(raw[:preamble], []byte{0}) == preamble {
		return raw
	}
	out := slices.Clone(raw)
	clear(out[:preamble])
	return out
}

// retrieve is the Retrieve transaction for objects (PS3.18, 10.4). Objects go out in the transfer syntax they came in.
func (o *Origin) retrieve(w http.ResponseWriter, r *http.Request, c Call) error {
	as, syntax, err := choose(r.Header, objectOffers(c.Instance != ""))
	if err != nil {
		return err
	}
	found, err := o.wanted(r, c, "instance.retrieve")
	if err != nil {
		return err
	}
	if syntax != "" {
		if err := o.inSyntax(r, found, syntax); err != nil {
			return err
		}
	}
	if !as.parts {
		return o.single(w, r, found[0])
	}
	return o.multiple(w, r, found)
}

// inSyntax refuses when an object is not in the transfer syntax that is asked for: nothing is encoded anew.
func (o *Origin) inSyntax(r *http.Request, found []store.Instance, syntax string) error {
	for _, i := range found {
		raw, release, err := o.object(r, i)
		if err != nil {
			return err
		}
		id, _ := dicomio.Identify(raw, o.limits) // the syntax is known before anything can fail
		release()
		if id.TransferSyntax != syntax {
			return refuse(ErrNotAcceptable, "objects are given in the transfer syntax they came in, and that is another one")
		}
	}
	return nil
}

func (o *Origin) single(w http.ResponseWriter, r *http.Request, i store.Instance) error {
	raw, release, err := o.object(r, i)
	if err != nil {
		return err
	}
	defer release()
	w.Header().Set("Content-Type", mediaDICOM)
	w.Header().Set("Content-Length", fmt.Sprint(len(raw)))
	w.Header().Set("Content-Disposition", `attachment; filename="`+i.Receipt.ID+`.dcm"`)
	return sent(w.Write(raw))
}

func (o *Origin) multiple(w http.ResponseWriter, r *http.Request, found []store.Instance) error {
	parts := newParts(w, mediaDICOM)
	for n, i := range found {
		err := func() error {
			raw, release, err := o.object(r, i)
			if err != nil {
				return err
			}
			defer release()
			return parts.write(raw)
		}()
		if err != nil {
			return broken(w, n > 0, err)
		}
	}
	return sent(0, parts.Close())
}

// broken ends the connection when the answer has begun, so that what is not whole is not taken for it; before that it takes
// back what was said of the answer.
func broken(w http.ResponseWriter, begun bool, err error) error {
	if begun {
		panic(http.ErrAbortHandler)
	}
	w.Header().Del("Content-Type")
	return err
}

// sent drops the failure of sending: nobody is left to be told.
func sent(_ int, err error) error {
	if err != nil {
		panic(http.ErrAbortHandler)
	}
	return nil
}

// parts writes a multipart/related answer, whose header goes out with the first part.
type parts struct {
	*multipart.Writer
	media string
}

func newParts(w http.ResponseWriter, media string) parts {
	m := multipart.NewWriter(w)
	var b [16]byte
	_, _ = rand.Read(b[:])                      // never fails: crypto/rand ends the process instead
	_ = m.SetBoundary(hex.EncodeToString(b[:])) // well formed
	w.Header().Set("Content-Type", mediaRelated+`; type="`+media+`"; boundary=`+m.Boundary())
	return parts{m, media}
}

func (p parts) write(content []byte) error {
	part, err := p.CreatePart(textproto.MIMEHeader{"Content-Type": {p.media}})
	if err != nil {
		return err
	}
	_, err = part.Write(content)
	return err
}

// metadata is the Retrieve transaction for metadata: whole data sets in one of the DICOM models.
func (o *Origin) metadata(w http.ResponseWriter, r *http.Request, c Call) error {
	as, _, err := choose(r.Header, modelOffers())
	if err != nil {
		return err
	}
	found, err := o.wanted(r, c, "instance.metadata")
	if err != nil {
		return err
	}
	return writeSets(w, as, func(yield func(dicomio.DataSet, error) bool) {
		for _, i := range found {
			if !yield(o.dataSet(r, i)) {
				return
			}
		}
	})
}

// decodedSize is how many times its encoded size a data set may take in memory.
const decodedSize = 12

func (o *Origin) dataSet(r *http.Request, i store.Instance) (dicomio.DataSet, error) {
	release, err := o.cfg.Hold(r.Context(), decodedSize*i.Receipt.Size)
	if err != nil {
		return nil, err
	}
	defer release()
	raw, err := o.cfg.Store.Raw(i.Receipt.Digest)
	if err != nil {
		return nil, fmt.Errorf("%w: receipt %s: %w", ErrDamaged, i.Receipt.ID, err)
	}
	f, err := dicomio.Read(raw, o.limits)
	if err != nil {
		return nil, fmt.Errorf("%w: no data set that can be read: %w", store.ErrNotFound, err)
	}
	return f.Data, nil
}

func each(sets []dicomio.DataSet) iter.Seq2[dicomio.DataSet, error] {
	return func(yield func(dicomio.DataSet, error) bool) {
		for _, d := range sets {
			if !yield(d, nil) {
				return
			}
		}
	}
}

// writeSets writes data sets one after another: as one JSON array, or as parts of XML.
func writeSets(w http.ResponseWriter, as offer, sets iter.Seq2[dicomio.DataSet, error]) error {
	var write func(dicomio.DataSet) error
	var end func() error
	if as.media == dicommodel.XMLMediaType {
		p := newParts(w, as.media)
		write = func(d dicomio.DataSet) error {
			var out bytes.Buffer
			if err := dicommodel.WriteXML(&out, d); err != nil {
				return err
			}
			return p.write(out.Bytes())
		}
		end = p.Close
	} else {
		w.Header().Set("Content-Type", as.media)
		list := dicommodel.NewList(w)
		write, end = list.Add, list.Close
	}
	first := true
	for d, err := range sets {
		if err == nil {
			err = write(d)
		}
		if err != nil {
			return broken(w, !first, err)
		}
		first = false
	}
	return sent(0, end())
}
