package dicomio

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// File is one read file.
type File struct {
	Meta, Data     DataSet
	TransferSyntax string
	// Repairs tells what was wrong with the encoding and what was assumed instead; it holds tags but no values.
	Repairs []string
	// BytesDigest is the SHA-256 of the received bytes in lower-case hex. DataSetDigest is that of Data, see Digest.
	BytesDigest, DataSetDigest string
}

// Read reads a Part 10 file, or a bare data set in little endian. The error is one of ErrNotDICOM, ErrTruncated,
// ErrLimit, ErrTransferSyntax and ErrBroken, with place but without values from the file.
func Read(data []byte, lim Limits) (*File, error) {
	env, err := openEnvelope(data, lim)
	if err != nil {
		return nil, err
	}
	body := newWalker(env.body, env.bodyFrom, env.dialect, lim)
	found, err := inspect(body)
	if err != nil {
		return nil, err
	}
	n := newNotes(env.repairs)
	if found.padding > 0 {
		n.say(fmt.Sprintf("%d zero bytes behind the data set were ignored", found.padding))
	}
	if found.odd != 0 {
		n.add("value of odd length", found.odd)
	}
	f := &File{TransferSyntax: env.syntax}
	if f.Meta, err = build(env.meta, 0, dialect{}, lim, survey{}, n); err != nil {
		return nil, err
	}
	if f.Data, err = build(env.body, env.bodyFrom, env.dialect, lim, found, n); err != nil {
		return nil, err
	}
	f.Repairs = n.list
	sum := sha256.Sum256(data)
	f.BytesDigest, f.DataSetDigest = hex.EncodeToString(sum[:]), Digest(f.Data)
	return f, nil
}

// build makes a data set of bytes that the guard has passed.
func build(data []byte, from int, d dialect, lim Limits, found survey, n *notes) (DataSet, error) {
	b := newBuilder(newWalker(data, from, d, lim), found.large, n)
	return b.dataSet(newCharset(nil, n))
}
