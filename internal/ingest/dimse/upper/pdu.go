package upper

import (
	"bufio"
	"encoding/binary"
	"io"
)

// Types of PDU (PS3.8 9.3).
const (
	pduAssociateRQ = 0x01
	pduAssociateAC = 0x02
	pduAssociateRJ = 0x03
	pduData        = 0x04
	pduReleaseRQ   = 0x05
	pduReleaseRP   = 0x06
	pduAbort       = 0x07
)

// pdu is one protocol data unit without its header.
type pdu struct {
	kind byte
	body []byte
}

// longest gives the longest body of a type of PDU that is taken; the short ones have one length only.
func longest(kind byte, data int) (uint32, error) {
	switch kind {
	case pduAssociateRQ, pduAssociateAC:
		return mostAssociate, nil
	case pduAssociateRJ, pduReleaseRQ, pduReleaseRP, pduAbort:
		return 4, nil
	case pduData:
		return uint32(data), nil
	}
	return 0, broken(ReasonUnknownPDU, "PDU of unknown type %02X", kind)
}

// readPDU reads a PDU into buf, which grows with what arrives and not with what is announced, and is returned for the next.
func readPDU(r *bufio.Reader, data int, buf []byte) (pdu, []byte, error) {
	var header [6]byte
	if _, err := io.ReadFull(r, header[:]); err != nil {
		return pdu{}, buf, err
	}
	most, err := longest(header[0], data)
	if err != nil {
		return pdu{}, buf, err
	}
	length := binary.BigEndian.Uint32(header[2:])
	if length > most || most == 4 && length != 4 {
		return pdu{}, buf, broken(ReasonInvalidParameter, "PDU of type %02X is %d bytes long, the most is %d", header[0], length, most)
	}
	buf, err = fill(r, buf[:0], int(length))
	return pdu{header[0], buf}, buf, err
}

// firstStep is how much is taken before the peer has sent anything of it.
const firstStep = 16 << 10

func fill(r io.Reader, buf []byte, length int) ([]byte, error) {
	for len(buf) < length {
		have := len(buf)
		step := min(length, max(cap(buf), 2*have, firstStep))
		if step > cap(buf) {
			buf = append(make([]byte, 0, step), buf...)
		}
		buf = buf[:step]
		if _, err := io.ReadFull(r, buf[have:]); err != nil {
			if err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return buf[:have], err
		}
	}
	return buf, nil
}

// openPDU begins a PDU in to; closePDU puts its length in.
func openPDU(to []byte, kind byte) []byte { return append(to, kind, 0, 0, 0, 0, 0) }

func closePDU(to []byte, start int) []byte {
	binary.BigEndian.PutUint32(to[start+2:], uint32(len(to)-start-6))
	return to
}

// shortPDU is a PDU of four bytes.
func shortPDU(kind, b1, b2, b3 byte) []byte {
	return []byte{kind, 0, 0, 0, 0, 4, 0, b1, b2, b3}
}
