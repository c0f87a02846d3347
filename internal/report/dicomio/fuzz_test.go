package dicomio_test

import (
	"fmt"
	"runtime/debug"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

func seeds(f *testing.F) {
	report := doseReport(1)
	f.Add(written(f, report, dicomio.ExplicitLittleEndian))
	f.Add(written(f, report, dicomio.ImplicitLittleEndian))
	f.Add(written(f, report, dicomio.DeflatedExplicit))
	f.Add(part10(explicitBigEndian, definedLengths(explicitBE, report)))
	f.Add(part10(dicomio.ExplicitLittleEndian, identified(), nested(40)))
	f.Add(part10(dicomio.ExplicitLittleEndian, identified(), many(20)))
	f.Add(definedLengths(implicitLE, doseReport(0)))
	f.Add(definedLengths(explicitLE, doseReport(0)))
	f.Add(part10(dicomio.ExplicitLittleEndian, explicitLE.element(tagCharacterSet, "CS", `\ISO 2022 IR 87\ISO 2022 IR 149`),
		identified(), explicitLE.element(tagPatientName, "PN", "A^B=\x1b$B;3ED\x1b(B^\x1b$)C\xb1\xe8")))
	f.Add(part10(dicomio.ExplicitLittleEndian, identified(), explicitLE.head(0x00091010, "UN", undefined),
		implicitLE.item(), implicitLE.element(0x00091011, "", "abcd"), implicitLE.itemEnd(), implicitLE.close()))
}

// The fuzz targets want -fuzzminimizetime=20x: by default the go command shrinks each new input of these sizes for a
// minute, and executes nothing meanwhile.

// FuzzRead wants no panic, sound data sets, and that what was read can be written and read again.
func FuzzRead(f *testing.F) {
	debug.SetMemoryLimit(256 << 20) // a read that would hold more than its bound makes the target crawl
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		if !survives(t, data) {
			return
		}
		file := read(t, data)
		again := read(t, written(t, file.Data, dicomio.ExplicitLittleEndian))
		requireSound(t, again.Data)
		require.Equal(t, wordings(file.Data), wordings(again.Data))
	})
}

// wordings lists what must survive writing in another character set: all but its declaration and the bytes of
// private elements.
func wordings(d dicomio.DataSet) string {
	var b strings.Builder
	for _, e := range d {
		if e.Tag == tagCharacterSet {
			continue
		}
		fmt.Fprintf(&b, "%v %q %v [", e.Tag, e.Values, e.Floats)
		for _, i := range e.Items {
			fmt.Fprintf(&b, "{%s}", wordings(i))
		}
		b.WriteString("]\n")
	}
	return b.String()
}

// FuzzIdentify wants no panic, and of what it accepts that only the decoding can refuse it.
func FuzzIdentify(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		id, err := dicomio.Identify(data, dicomio.DefaultLimits())
		if err != nil {
			require.True(t, oneKind(err))
			return
		}
		if file, err := dicomio.Read(data, dicomio.DefaultLimits()); err == nil {
			require.Equal(t, file.TransferSyntax, id.TransferSyntax)
		} else {
			require.ErrorIs(t, err, dicomio.ErrBroken)
		}
	})
}
