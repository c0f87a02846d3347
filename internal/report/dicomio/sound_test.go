package dicomio_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

// requireSound wants what the package promises of every data set: ascending tags, known VRs, valid UTF-8 without
// escape sequences, no bookkeeping elements.
func requireSound(t testing.TB, d dicomio.DataSet) {
	t.Helper()
	for i, e := range d {
		if i > 0 {
			require.Less(t, d[i-1].Tag, e.Tag)
		}
		require.Len(t, e.VR, 2)
		require.NotZero(t, e.Tag.Number(), "group length")
		for _, v := range e.Values {
			require.True(t, utf8.ValidString(v))
			require.NotContains(t, v, "\x1b")
			if e.VR != "LT" && e.VR != "ST" && e.VR != "UT" && e.VR != "UR" {
				require.Equal(t, strings.Trim(v, " \x00"), v)
			}
		}
		found, ok := d.Find(e.Tag)
		require.True(t, ok)
		require.Equal(t, e, found)
		for _, item := range e.Items {
			requireSound(t, item)
		}
	}
}
