package queryretrieve_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/report/dicomio"
)

// unavailable answers every retrieval with a failure.
func unavailable(_ *script, _ *upper.Association, m *upper.Message, _ asked) upper.Command {
	return counted(m, 0xA702, 0, 1, 0)
}

// TestQuestions holds what is sent against what is meant: keys, levels, priority, and nothing about a patient.
func TestQuestions(t *testing.T) {
	s := &script{find: one, retrieve: unavailable}
	r := newRig(t)
	_, err := queryretrieve.Run(t.Context(), r.config(s.serve(t)), period(t, 1))
	require.NoError(t, err)
	var got [][]string
	for _, one := range s.requests() {
		assert.Equal(t, upper.PriorityLow, one.command.Priority)
		line := []string{one.command.Field.String(), one.command.AffectedClass}
		for _, e := range one.set {
			line = append(line, dicomio.Keyword(e.Tag)+"="+one.text(e.Tag))
		}
		got = append(got, line)
	}
	assert.Equal(t, [][]string{
		{"0020", findClass, "StudyDate=20260101", "QueryRetrieveLevel=STUDY", "ModalitiesInStudy=", "StudyInstanceUID="},
		{"0020", findClass, "QueryRetrieveLevel=SERIES", "Modality=SR", "StudyInstanceUID=2.25.200000", "SeriesInstanceUID="},
		{"0020", findClass, "SOPClassUID=", "SOPInstanceUID=", "QueryRetrieveLevel=IMAGE", "StudyInstanceUID=2.25.200000", "SeriesInstanceUID=2.25.300000"},
		{"0010", getClass, "SOPInstanceUID=2.25.100000", "QueryRetrieveLevel=IMAGE", "StudyInstanceUID=2.25.200000", "SeriesInstanceUID=2.25.300000"},
	}, got)
	assert.Equal(t, 1, s.reqs, "on one association")
}

// TestSearch has one study for each way in which an archive speaks of its modalities, series and classes.
func TestSearch(t *testing.T) {
	tests := map[string]struct {
		modalities []string
		series     dicomio.DataSet
		class      string
		converted  bool
		found      bool
		passed     bool
	}{
		"X-ray alone is named":            {modalities: []string{"XA"}, found: true},
		"X-ray and the report":            {modalities: []string{"XA", "SR"}, found: true},
		"the report alone":                {modalities: []string{"SR"}, found: true},
		"nothing is named":                {found: true},
		"CT and its report":               {modalities: []string{"CT", "SR", "PR"}, passed: true},
		"CT and X-ray":                    {modalities: []string{"CT", "XA"}, found: true},
		"a modality nobody knows":         {modalities: []string{"CT", "ZZ"}, found: true},
		"a series of images":              {modalities: []string{"XA"}, series: set(tagModality, "XA", tagSeries, "2.25.300000")},
		"a series without modality":       {modalities: []string{"XA"}, series: set(tagSeries, "2.25.300000"), found: true},
		"an enhanced report":              {class: "1.2.840.10008.5.1.4.1.1.88.76", found: true},
		"a class that is not told":        {class: "-", found: true},
		"a text report":                   {class: textSR, converted: true},
		"a general report":                {class: generalSR},
		"a general report that is wanted": {class: generalSR, converted: true, found: true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := &script{retrieve: unavailable, find: func(r asked) said {
				switch level := r.text(tagLevel); {
				case level == "STUDY":
					return said{answers: []dicomio.DataSet{set(tagModalities, tt.modalities, tagStudy, "2.25.200000")}}
				case level == "SERIES" && tt.series != nil:
					return said{answers: []dicomio.DataSet{tt.series}}
				case level == "IMAGE" && tt.class == "-":
					return said{answers: []dicomio.DataSet{set(tagInstance, "2.25.100000")}}
				case level == "IMAGE" && tt.class != "":
					return said{answers: []dicomio.DataSet{set(tagClass, tt.class, tagInstance, "2.25.100000")}}
				}
				return one(r)
			}}
			r := newRig(t)
			cfg := r.config(s.serve(t))
			cfg.Converted = tt.converted
			counts, err := queryretrieve.Run(t.Context(), cfg, period(t, 1))
			require.NoError(t, err)
			want := queryretrieve.Counts{Days: 1, Studies: 1}
			if tt.found {
				want.Reports, want.Failed = 1, 1
			}
			if tt.passed {
				want.Passed = 1
			}
			assert.Equal(t, want, counts)
		})
	}
}

// TestSearchThatDoesNotEnd has an archive whose answers leave a day open: it is listed with the reason and searched again.
func TestSearchThatDoesNotEnd(t *testing.T) {
	tests := map[string]struct {
		level, study string
		instead      said
		problem      string
	}{
		"studies are refused":            {"STUDY", "", said{status: upper.StatusNoResources}, "A700: archive is out of resources"},
		"one study fails":                {"SERIES", "2.25.200000", said{status: 0xC001}, "study 2.25.200000: C001: archive cannot process the question"},
		"cancelled by the archive":       {"IMAGE", "2.25.200000", said{status: upper.StatusCancelled}, "study 2.25.200000: FE00: archive ended the operation"},
		"an unknown status":              {"IMAGE", "2.25.200000", said{status: 0x0199}, "study 2.25.200000: 0199: archive gives a status that is not known here"},
		"an answer that is no data set":  {"SERIES", "2.25.200000", said{raw: [][]byte{{1, 2, 3}}}, "1 answers at level SERIES were not understood"},
		"an answer with no UID":          {"SERIES", "2.25.200000", said{answers: []dicomio.DataSet{set(tagModality, "SR")}}, "study 2.25.200000: a series without a UID"},
		"an answer with something else":  {"IMAGE", "2.25.200000", said{answers: []dicomio.DataSet{set(tagInstance, "Somebody^Else")}}, "1 answers at level IMAGE were not understood"},
		"an instance that is not named":  {"IMAGE", "2.25.200000", said{answers: []dicomio.DataSet{set(tagClass, doseClass)}}, "study 2.25.200000: an instance without a UID"},
		"one study without a UID at all": {"STUDY", "", said{answers: []dicomio.DataSet{set(tagModalities, "XA")}}, "a study without a UID"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			broken := true
			s := &script{retrieve: unavailable}
			s.find = func(r asked) said {
				if broken && r.text(tagLevel) == tt.level && r.text(tagStudy) == tt.study {
					return tt.instead
				}
				if r.text(tagLevel) == "STUDY" {
					return said{answers: []dicomio.DataSet{set(tagStudy, "2.25.200000"), set(tagStudy, "2.25.200001")}}
				}
				if r.text(tagStudy) == "2.25.200001" && r.text(tagLevel) == "IMAGE" {
					return said{answers: []dicomio.DataSet{set(tagClass, doseClass, tagInstance, "2.25.100001")}}
				}
				return one(r)
			}
			r := newRig(t)
			cfg := r.config(s.serve(t))
			counts, err := queryretrieve.Run(t.Context(), cfg, period(t, 1))
			require.NoError(t, err)
			assert.Equal(t, 1, counts.DaysOpen)
			days, err := r.db.SearchedDays(t.Context(), archiveTitle, "", "")
			require.NoError(t, err)
			require.Len(t, days, 1)
			assert.Equal(t, tt.problem, days[0].Problem)
			if tt.level != "STUDY" {
				assert.Contains(t, r.lacking(t), "2.25.100001", "the other study was gone through")
			}
			broken = false
			counts, err = queryretrieve.Run(t.Context(), cfg, queryretrieve.Period{})
			require.NoError(t, err)
			assert.Zero(t, counts.DaysOpen)
			assert.Len(t, r.lacking(t), 2)
			assert.NotContains(t, r.log.String(), "Somebody")
		})
	}
}

// TestDaysThatAreYoung searches a day again as long as reports may still be filed there.
func TestDaysThatAreYoung(t *testing.T) {
	s := &script{find: func(asked) said { return said{} }}
	r := newRig(t)
	cfg := r.config(s.serve(t))
	today := cfg.Now()
	p := queryretrieve.Period{From: today.AddDate(0, 0, -8), To: today}
	for range 2 {
		_, err := queryretrieve.Run(t.Context(), cfg, p)
		require.NoError(t, err)
	}
	searched := map[string]int{}
	for _, one := range s.requests() {
		searched[one.text(tagDate)]++
	}
	assert.Equal(t, 1, searched[p.From.Format("20060102")])
	assert.Equal(t, 2, searched[today.Format("20060102")])
	assert.Len(t, searched, 9)
	cfg.Anew = true
	counts, err := queryretrieve.Run(t.Context(), cfg, p)
	require.NoError(t, err)
	assert.Equal(t, queryretrieve.Counts{Days: 9}, counts, "all of them, when that is wanted")
}

// TestHad does not ask for what came by another door, and one object of two studies once.
func TestHad(t *testing.T) {
	_, content := small(t, 0, 1)
	r := newRig(t)
	r.keep(t, content)
	s := &script{find: one, retrieve: unavailable}
	counts, err := queryretrieve.Run(t.Context(), r.config(s.serve(t)), period(t, 2))
	require.NoError(t, err)
	assert.Equal(t, queryretrieve.Counts{Days: 2, Studies: 2, Reports: 2, Held: 2}, counts)
	assert.False(t, slices.ContainsFunc(s.requests(), func(a asked) bool { return a.command.Field != upper.CFind }))
	assert.Empty(t, r.lacking(t))
	assert.Equal(t, map[string]int{"2.25.100000": 1}, r.receipts(t))
}
