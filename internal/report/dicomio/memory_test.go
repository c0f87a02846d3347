package dicomio_test

import (
	"bytes"
	"compress/flate"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

// readInChild names the file that this test binary, started once more, is to read alone.
const readInChild = "DICOMIO_READ_IN_CHILD"

// TestReadInChild is the other process of TestMemory: it reads one file and says how it went and what its resident
// memory peaked at (VmHWM of the kernel, the whole process with the Go runtime, the file and the result).
func TestReadInChild(t *testing.T) {
	path := os.Getenv(readInChild)
	if path == "" {
		t.Skip("runs only as the other process of TestMemory")
	}
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	start := time.Now()
	f, err := dicomio.Read(data, dicomio.DefaultLimits())
	took := time.Since(start)
	runtime.KeepAlive(f)
	status, statusErr := os.ReadFile("/proc/self/status")
	require.NoError(t, statusErr)
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	fmt.Printf("\npeak=%s took=%d error=%v\n", strings.Fields(rest)[0], took.Milliseconds(), err)
}

type measured struct {
	peakBytes int64
	took      time.Duration
	err       string
}

// measure reads a file in a process of its own, with the garbage collector as it is by default, and a memory limit of
// the runtime (GOMEMLIMIT) when one is given.
func measure(t *testing.T, data []byte, limit int64) measured {
	t.Helper()
	path := filepath.Join(t.TempDir(), "in.dcm")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	child := exec.Command(os.Args[0], "-test.run=^TestReadInChild$")
	child.Env = append(os.Environ(), readInChild+"="+path)
	if limit > 0 {
		child.Env = append(child.Env, fmt.Sprintf("GOMEMLIMIT=%d", limit))
	}
	out, err := child.CombinedOutput()
	require.NoError(t, err, "the process died: %.2000s", out)
	_, rest, found := strings.Cut(string(out), "\npeak=")
	require.True(t, found, "%.2000s", out)
	line, _, _ := strings.Cut(rest, "\n")
	var m measured
	var kib, ms int64
	peak, rest, _ := strings.Cut(line, " took=")
	took, failure, _ := strings.Cut(rest, " error=")
	kib, err = strconv.ParseInt(peak, 10, 64)
	require.NoError(t, err)
	ms, err = strconv.ParseInt(took, 10, 64)
	require.NoError(t, err)
	m.peakBytes, m.took, m.err = kib<<10, time.Duration(ms)*time.Millisecond, failure
	return m
}

func deflated(t testing.TB, body []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestCompression)
	require.NoError(t, err)
	_, err = w.Write(body)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.Bytes()
}

func nested(levels int) []byte {
	return bytes.Repeat(append(explicitLE.open(tagContent), explicitLE.item()...), levels)
}

// many gives one sequence of undefined length with n empty items.
func many(n int) []byte {
	empty := explicitLE.head(0xFFFEE000, "", 0)
	return append(append(explicitLE.open(tagContent), bytes.Repeat(empty, n)...), explicitLE.close()...)
}

// manySequences gives n empty items, ten thousand to a sequence, each sequence in an item of one around them.
func manySequences(n int) []byte {
	b := explicitLE.open(tagContent)
	for range n / 10_000 {
		b = append(b, explicitLE.item()...)
		b = append(b, many(9_999)...)
		b = append(b, explicitLE.itemEnd()...)
	}
	return append(b, explicitLE.close()...)
}

// dense gives about size bytes of sequences of items of 200 private elements each, all with a value of its own of so
// many bytes: little costs more memory for its size.
func dense(size, value int) []byte {
	b := identified()
	for n := 0; len(b) < size; {
		b = append(b, explicitLE.open(dicomio.Tag(0x00131001+n))...)
		for range 5000 {
			if len(b) >= size {
				break
			}
			b = append(b, explicitLE.item()...)
			for i := range 200 {
				n++
				b = append(b, explicitLE.element(dicomio.Tag(0x00111000+i), "LO", fmt.Sprintf("%0*d", 9, n)[9-value:])...)
			}
			b = append(b, explicitLE.itemEnd()...)
		}
		b = append(b, explicitLE.close()...)
	}
	return b
}

// single gives about size bytes of items of one empty element.
func single(size int) []byte {
	item := append(explicitLE.head(0xFFFEE000, "", 8), explicitLE.head(tagMeaning, "LO", 0)...)
	var b []byte
	for n := 0; len(b) < size; n++ {
		items := bytes.Repeat(item, 10_000)
		b = append(append(b, explicitLE.head(dicomio.Tag(0x00131001+n), "SQ", uint32(len(items)))...), items...)
	}
	return b
}

// TestMemory holds Read to 64 MB and twelve times the file, for files of any kind; for deflated files that are accepted
// the inflated data set counts as the file. MB are 2^20 bytes. Reports stay below it without help. Files made of nothing
// but the smallest elements are let in as far as what lives fits below the bound; what the collector has not yet
// collected may exceed it, so these are measured with the runtime's memory limit, as a server sets it.
func TestMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("reads large files in processes of their own, not in short runs")
	}
	if runtime.GOOS != "linux" {
		t.Skip("peak memory is read from /proc, which only Linux has")
	}
	const refused = "exceeds a limit"
	file := func(body ...[]byte) []byte {
		return part10(dicomio.ExplicitLittleEndian, append([][]byte{identified()}, body...)...)
	}
	bomb := func(body []byte) []byte { return part10(dicomio.DeflatedExplicit, deflated(t, body)) }
	report := func(events int, syntax string) []byte { return written(t, doseReport(events), syntax) }
	le := dicomio.ExplicitLittleEndian
	tests := map[string]struct {
		data func() []byte
		size int    // what counts as the file, if not the data
		want string // part of the error, or none
		help bool   // measured with a memory limit
	}{
		"1,000 events":           {data: func() []byte { return report(1000, le) }},
		"1,000 events, implicit": {data: func() []byte { return report(1000, dicomio.ImplicitLittleEndian) }},
		"1,000 events, deflated": {data: func() []byte { return report(1000, dicomio.DeflatedExplicit) }, size: 8_000_000},
		"5,000 events":           {data: func() []byte { return report(5000, le) }},

		"10,000 nested":    {data: func() []byte { return file(nested(10_000)) }, want: refused},
		"1,000,000 nested": {data: func() []byte { return file(nested(1_000_000)) }, want: refused},

		"1 MB deflated from 1 GB":         {data: func() []byte { return bomb(make([]byte, 1<<30)) }, want: refused},
		"bomb behind a beginning":         {data: func() []byte { return bomb(append(identified(), make([]byte, 600<<20)...)) }, want: refused},
		"20,000,000 empty items deflated": {data: func() []byte { return bomb(append(identified(), many(20_000_000)...)) }, want: refused},

		"5,000,000 empty items":                  {data: func() []byte { return file(many(5_000_000)) }, want: refused},
		"5,000,000 empty items in 500 sequences": {data: func() []byte { return file(manySequences(5_000_000)) }, want: refused},
		"2,900,000 empty items in 290 sequences": {data: func() []byte { return file(manySequences(2_900_000)) }},
		"items of one element, 15 MB":            {data: func() []byte { return file(single(15 << 20)) }, help: true},

		"OB of 2 GiB claimed": {data: func() []byte { return file(explicitLE.head(0x00420011, "OB", 0x7FFFFFFE)) }, want: "cut short"},
		"UT of 2 GiB claimed": {data: func() []byte { return file(explicitLE.head(0x0040A160, "UT", 0x7FFFFFFE)) }, want: "cut short"},
		"30 kB of plain text": {
			data: func() []byte { return []byte(strings.Repeat("no DICOM at all, only words\n", 1100)) }, want: "not a DICOM file",
		},
		"47 MB of backslashes": {
			data: func() []byte { return file(explicitLE.element(0x0040A160, "UT", strings.Repeat(`\`, 47<<20))) }, want: refused,
		},
		"47 MB of text":  {data: func() []byte { return file(explicitLE.element(0x0040A160, "UT", strings.Repeat("é ", 47<<20/3))) }},
		"47 MB of bytes": {data: func() []byte { return file(explicitLE.element(0x00420011, "OB", strings.Repeat("ab", 47<<20/2))) }},
		"text of ever other character sets, 40 MB": {data: func() []byte {
			return part10(le, explicitLE.element(tagCharacterSet, "CS", `ISO 2022 IR 100\ISO 2022 IR 144`),
				identified(), explicitLE.element(0x0040A160, "UT", strings.Repeat("\xe4\x1b-L\xbb\x1b-A", 40<<20/8)))
		}},

		"empty elements, 3 MB":  {data: func() []byte { return part10(le, dense(3<<20, 0)) }, help: true},
		"empty elements, 20 MB": {data: func() []byte { return part10(le, dense(20<<20, 0)) }, want: refused},
		"tiny elements, 5 MB":   {data: func() []byte { return part10(le, dense(5<<20, 4)) }, help: true},
		"tiny elements, 10 MB":  {data: func() []byte { return part10(le, dense(10<<20, 4)) }, want: refused},
		"small elements, 10 MB": {data: func() []byte { return part10(le, dense(10<<20, 8)) }, help: true},
		"small elements, 45 MB": {data: func() []byte { return part10(le, dense(45<<20, 8)) }, want: refused},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			data := tt.data()
			size := max(tt.size, len(data))
			bound := int64(64<<20) + 12*int64(size)
			var limit int64
			if tt.help {
				limit = bound - 16<<20 // the runtime does not count the program's code and data
			}
			m := measure(t, data, limit)
			t.Logf("file %d bytes, peak %d MB of %d MB, %v, %s", len(data), m.peakBytes>>20, bound>>20, m.took, m.err)
			if tt.want == "" {
				assert.Equal(t, "<nil>", m.err)
			} else {
				assert.Contains(t, m.err, tt.want)
			}
			assert.LessOrEqual(t, m.peakBytes, bound)
		})
	}
}
