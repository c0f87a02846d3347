package crashtest_test

import (
	"bytes"
	"context"
	bigendian "encoding/binary"
	"errors"
	"fmt"
	"net"
	"time"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
)

// perAssociation is how many parcels go by one association.
const perAssociation = 3

// call is an association of a sender, with its connection: the PDUs of a C-STORE are the sender's own.
type networkCall struct {
	*upper.Association
	conn    net.Conn
	address string
	sent    int
}

// sendDICOM sends by the DICOM network.
func (l *load) sendDICOM() {
	var c *networkCall
	hang := func() {
		if c != nil {
			_ = c.Release() // the service may be gone
			c = nil
		}
	}
	for {
		p, address, more := l.take(doors{dicom: true})
		if !more || address == "" || c != nil && (c.address != address || c.sent == perAssociation) {
			hang()
		}
		switch {
		case !more:
			return
		case address == "":
			time.Sleep(pauseBetween)
		default:
			var done bool
			if c, done = l.store(c, address, p); !done {
				hang()
				time.Sleep(pauseBetween)
			}
			l.done(p, done)
		}
	}
}

// store sends one parcel, on a new association where there is none, and tells whether it was acknowledged, or refused as
// it must be.
func (l *load) store(c *networkCall, address string, p parcel) (_ *networkCall, done bool) {
	entry := line{What: "will", Door: "dicom", Digest: p.digest, Kind: p.kind}
	if err := l.ledger.write(entry); err != nil {
		l.fault("%v", err)
		return c, true
	}
	if c == nil {
		var err error
		if c, err = callDICOM(address); err != nil {
			return nil, false // not up, or just killed
		}
	}
	c.sent++
	status, err := c.store(p)
	switch want := map[kind]upper.Status{dose: upper.Success, odd: upper.StatusNotMatching, junk: upper.StatusNotUnderstood}[p.kind]; {
	case errors.Is(err, errParcel):
		l.fault("%s object %s: %v", p.kind, p.digest, err)
		return c, true
	case err != nil, status == upper.StatusNoResources:
		return c, false
	case status != want:
		l.fault("%s object %s: wanted status %v, got %v", p.kind, p.digest, want, status)
	}
	entry.What, entry.Status = "answer", int(status)
	if err := l.ledger.write(entry); err != nil {
		l.fault("%v", err)
	}
	return c, true
}

// callDICOM asks for an association with a context for each class and encoding of what is sent.
func callDICOM(address string) (*networkCall, error) {
	conn, err := net.DialTimeout("tcp", address, time.Second)
	if err != nil {
		return nil, err
	}
	var proposals []upper.Proposal
	for _, class := range []string{doseClass, otherClass} {
		proposals = append(proposals, upper.Each(class, upper.ExplicitLittle, upper.ImplicitLittle)...)
	}
	a, err := upper.Requestor{Limits: upper.DefaultLimits(), Calling: "CRASHTEST"}.Request(context.Background(), conn, "AFTERBEAM", proposals)
	if err != nil {
		return nil, err
	}
	return &networkCall{Association: a, conn: conn, address: address}, nil
}

// errParcel marks a parcel that cannot be sent by this door.
var errParcel = errors.New("no parcel for the DICOM network")

// store sends a parcel in fragments that end at a quarter, half, three quarters and 99 % of its data set.
func (c *networkCall) store(p parcel) (upper.Status, error) {
	command := upper.Command{Field: upper.CStore, MessageID: c.MessageID(), HasData: true, AffectedClass: doseClass, AffectedInstance: "2.25.1"}
	context1, set := c.Contexts()[0], p.raw
	if p.kind != junk {
		id, err := dicomio.Identify(p.raw, dicomio.DefaultLimits())
		if err != nil {
			return 0, errors.Join(errParcel, err)
		}
		front, err := dicomio.Front(id.SOPClassUID, id.SOPInstanceUID, id.TransferSyntax)
		if err != nil || !bytes.HasPrefix(p.raw, front) {
			return 0, fmt.Errorf("%w: its front is not the door's, so that its digest would be another: %w", errParcel, err)
		}
		set, command.AffectedClass, command.AffectedInstance = p.raw[len(front):], id.SOPClassUID, id.SOPInstanceUID
		for _, one := range c.Contexts() {
			if one.Abstract == id.SOPClassUID && one.Transfer == id.TransferSyntax {
				context1 = one
			}
		}
	}
	raw, err := command.MarshalBinary()
	if err != nil {
		return 0, errors.Join(errParcel, err)
	}
	if _, err := c.conn.Write(fragmentPDU(context1.ID, 3, raw)); err != nil {
		return 0, err
	}
	for i, piece := range pieces(set) {
		if _, err := c.conn.Write(fragmentPDU(context1.ID, byte(i/4*2), piece)); err != nil {
			return 0, err
		}
	}
	m, err := c.Next(context.Background())
	if err != nil {
		return 0, err
	}
	return m.Command.Status, nil
}

// pieces cuts a data set at a quarter, half, three quarters and 99 %.
func pieces(set []byte) [5][]byte {
	var all [5][]byte
	from := 0
	for i, percent := range []int{25, 50, 75, 99, 100} {
		to := len(set) * percent / 100
		if percent < 100 {
			to &^= 1
		}
		all[i], from = set[from:to], to
	}
	return all
}

// fragmentPDU makes a P-DATA-TF of one fragment (PS3.8 9.3.5).
func fragmentPDU(context, control byte, data []byte) []byte {
	out := bigendian.BigEndian.AppendUint32([]byte{4, 0}, uint32(len(data)+6))
	out = bigendian.BigEndian.AppendUint32(out, uint32(len(data)+2))
	return append(append(out, context, control), data...)
}
