package queryretrieve_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/report/dicomio"
)

func encoded(t testing.TB, transfer string, pairs ...any) []byte {
	t.Helper()
	raw, err := dicomio.Encode(set(pairs...), transfer)
	require.NoError(t, err)
	return raw
}

func TestReadAnswer(t *testing.T) {
	for _, transfer := range []string{upper.ExplicitLittle, upper.ImplicitLittle} {
		got, err := queryretrieve.ReadAnswer(encoded(t, transfer, tagClass, doseClass, tagInstance, "2.25.1", tagModality, "SR", tagModalities, []string{"XA", "SR"}, tagStudy, "2.25.2", tagSeries, "2.25.3"), transfer)
		require.NoError(t, err)
		assert.Equal(t, queryretrieve.Answer{Study: "2.25.2", Series: "2.25.3", Instance: "2.25.1", Class: doseClass, Modality: "SR", Modalities: []string{"XA", "SR"}}, got)
		got, err = queryretrieve.ReadAnswer(nil, transfer)
		require.NoError(t, err, "an answer that says nothing")
		assert.Zero(t, got)
	}
	bad := map[string]struct {
		raw      []byte
		transfer string
	}{
		"too long":               {make([]byte, 64<<10+1), upper.ImplicitLittle},
		"cut":                    {encoded(t, upper.ImplicitLittle, tagStudy, "2.25.2")[:10], upper.ImplicitLittle},
		"a study that is no UID": {encoded(t, upper.ImplicitLittle, tagStudy, "Somebody^Else"), upper.ImplicitLittle},
		"another syntax":         {encoded(t, upper.ImplicitLittle, tagStudy, "2.25.2"), "1.2.840.10008.1.2.4.50"},
	}
	for name, tt := range bad {
		t.Run(name, func(t *testing.T) {
			_, err := queryretrieve.ReadAnswer(tt.raw, tt.transfer)
			require.Error(t, err)
			assert.NotContains(t, err.Error(), "Somebody")
		})
	}
}

// FuzzAnswer reads any bytes as an answer: what is taken names everything by UIDs.
func FuzzAnswer(f *testing.F) {
	for _, transfer := range []string{upper.ExplicitLittle, upper.ImplicitLittle} {
		explicit := transfer == upper.ExplicitLittle
		f.Add(encoded(f, transfer, tagModalities, []string{"XA", "SR"}, tagStudy, "2.25.2"), explicit)
		f.Add(encoded(f, transfer, tagModality, "SR", tagStudy, "2.25.2", tagSeries, "2.25.3"), explicit)
		f.Add(encoded(f, transfer, tagClass, doseClass, tagInstance, "2.25.1", tagStudy, "2.25.2", tagSeries, "2.25.3"), explicit)
	}
	f.Fuzz(func(t *testing.T, raw []byte, explicit bool) {
		transfer := upper.ImplicitLittle
		if explicit {
			transfer = upper.ExplicitLittle
		}
		a, err := queryretrieve.ReadAnswer(raw, transfer)
		if err != nil {
			assert.Zero(t, a)
			return
		}
		for _, uid := range []string{a.Study, a.Series, a.Instance, a.Class} {
			if uid != "" {
				_, err := dicomio.Front(uid, uid, transfer)
				assert.NoError(t, err)
			}
		}
		for _, m := range a.Modalities {
			assert.NotEmpty(t, m)
		}
	})
}
