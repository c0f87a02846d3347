package lexicon_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
)

func TestClassify(t *testing.T) {
	tests := map[string]struct{ description, class, complexity string }{
		"branched repair":          {"Branched thoraco-abdominal aortic repair, stage 1", "aortic_complex", "complex"},
		"abbreviation in capitals": {"FEVAR", "aortic_complex", "complex"},
		"infrarenal":               {"EVAR elective", "aortic_endovascular", "standard"},
		"thoracic":                 {"TEVAR urgent", "thoracic_aorta", "standard"},
		"arch before branched":     {"Branched aortic arch repair", "arch_repair", "complex"},
		"valve":                    {"Transcatheter aortic valve implantation", "structural_valve", "standard"},
		"pump":                     {"Percutaneous ventricular pump", "percutaneous_pump", "standard"},
		"ablation":                 {"Catheter ablation of atrial fibrillation", "rhythm_ablation", "standard"},
		"occlusion":                {"Coronary stent, chronic total occlusion", "coronary_intervention", "complex"},
		"diagnostic":               {"Diagnostic coronary angiography", "coronary_diagnostic", "standard"},
		"pacemaker":                {"Pacemaker implantation", "rhythm_device", "standard"},
		"whole words only":         {"Medication review", "unclassified", ""},
		"nothing":                  {"", "unclassified", ""},
		"another script":           {"冠動脈造影", "unclassified", ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			m := lexicon.Default().Classify(procedure.Procedure{Study: procedure.Study{Description: tt.description}})
			assert.Equal(t, tt.class, m.Class.ID)
			assert.Equal(t, tt.complexity, m.Complexity)
			assert.NotEmpty(t, m.From)
		})
	}
}

func TestCodesThenDescriptionThenProtocols(t *testing.T) {
	l, err := lexicon.Parse(strings.NewReader("kind,match,class,complexity\ncode,123|99SITE,neuro,complex\ntext,coronary,coronary_diagnostic,\ntext,head run,neuro,\n"))
	require.NoError(t, err)
	p := procedure.Procedure{
		Study:  procedure.Study{Description: "coronary", ProcedureCodes: []procedure.Code{{Value: "123", Scheme: "99SITE", Meaning: "any text"}}},
		Events: []procedure.Event{{Protocol: "Head"}, {Protocol: "run 3/s"}},
	}
	assert.Equal(t, "neuro", l.Classify(p).Class.ID)
	p.Study.ProcedureCodes = nil
	assert.Equal(t, "coronary_diagnostic", l.Classify(p).Class.ID)
	p.Study.Description = "other"
	assert.Equal(t, "neuro", l.Classify(p).Class.ID)
	slices.Reverse(p.Events)
	assert.Equal(t, "neuro", l.Classify(p).Class.ID, "the order of events does not matter")
}

func TestTablesFitTogether(t *testing.T) {
	groups := []string{"coronary", "static_projection", "neuro", "body", "unknown"}
	for _, c := range lexicon.Classes() {
		assert.Contains(t, groups, c.Group, c.ID)
		assert.NotEmpty(t, c.Title, c.ID)
	}
	assert.Equal(t, lexicon.Unclassified, lexicon.ClassOf("no such class").ID)
	place, ok := lexicon.PlaceOf(procedure.Code{Value: "80891009", Scheme: "SCT", Meaning: "whatever"})
	assert.True(t, ok)
	assert.Equal(t, "heart", place)
	_, ok = lexicon.PlaceOf(procedure.Code{Value: "80891009", Scheme: "99X"})
	assert.False(t, ok, "value and scheme together name a concept")
	region, ok := lexicon.DoseRegionOf(procedure.Event{Anatomy: procedure.Code{Value: "T-D1100", Scheme: "SRT"}})
	assert.True(t, ok)
	assert.Equal(t, "head_neuro", region)
}

func TestParseRefuses(t *testing.T) {
	const head = "kind,match,class,complexity\n"
	tests := map[string]struct{ text, want string }{
		"nothing":       {"", "no header line"},
		"other columns": {"a,b,c,d\n", "wants the columns"},
		"no entries":    {head + "# only a comment\n", "no entries"},
		"class":         {head + "text,heart,cardiac,\n", "line 2: class"},
		"unclassified":  {head + "text,heart,unclassified,\n", "line 2: class"},
		"complexity":    {head + "text,heart,neuro,hard\n", "line 2: complexity"},
		"kind":          {head + "word,heart,neuro,\n", "line 2: kind"},
		"no word":       {head + "text,--,neuro,\n", "at least one word"},
		"code":          {head + "code,123,neuro,\n", "value|scheme"},
		"fields":        {head + "text,heart\n", "lexicon not usable"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := lexicon.Parse(strings.NewReader(tt.text))
			require.ErrorIs(t, err, lexicon.ErrInvalid)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

func FuzzParse(f *testing.F) {
	f.Add("kind,match,class,complexity\ntext,coronary,coronary_diagnostic,\n", "coronary angiography")
	f.Fuzz(func(_ *testing.T, text, description string) {
		l, err := lexicon.Parse(strings.NewReader(text))
		if err == nil {
			l.Classify(procedure.Procedure{Study: procedure.Study{Description: description}})
		}
	})
}
