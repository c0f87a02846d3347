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

		"angioplasty is an intervention":          {"CORONARY ANGIOPLASTY", "coronary_intervention", "standard"},
		"diagnostic that became an intervention":  {"Coronary angiography +/- PCI", "coronary_intervention", "standard"},
		"an occlusion of the leg is not coronary": {"Superficial femoral artery CTO", "peripheral_lower_limb", "complex"},
		"assist pump":                        {"Percutaneous ventricular assist pump", "percutaneous_pump", "standard"},
		"pacemaker before the way in":        {"Pacemaker implantation, venous access", "rhythm_device", "standard"},
		"abbreviated electrophysiology":      {"EP study + ablation", "rhythm_ablation", "standard"},
		"abbreviated tachycardia":            {"VT ablation", "rhythm_ablation", "complex"},
		"ablation of the liver is no rhythm": {"Microwave ablation liver tumour", "hepatic_biliary", "standard"},
		"endovascular arch":                  {"Endovascular aortic arch repair", "arch_repair", "complex"},
		"endovascular abdominal":             {"Endovascular aortic repair (AAA)", "aortic_endovascular", "standard"},
		"endovascular thoracic":              {"Thoracic endovascular aortic repair", "thoracic_aorta", "standard"},
		"endovascular thoraco-abdominal":     {"Endovascular repair of thoraco-abdominal aortic aneurysm", "aortic_complex", "complex"},
		"fenestrated in other words":         {"Fenestrated EVAR", "aortic_complex", "complex"},
		"branched, abbreviated":              {"BEVAR 2nd stage", "aortic_complex", "complex"},
		"valve, American":                    {"TAVR transfemoral", "structural_valve", "standard"},
		"head":                               {"Stroke: mechanical thrombectomy", "neuro", "complex"},
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

func TestProcedureCodes(t *testing.T) {
	tests := map[string]struct {
		code procedure.Code
		want string
	}{
		"stent placed in a coronary artery":       {procedure.Code{Value: "36969009", Scheme: "SCT"}, "coronary_intervention"},
		"the same in the older scheme":            {procedure.Code{Value: "P1-33530", Scheme: "SRT"}, "coronary_intervention"},
		"a code decides against the description":  {procedure.Code{Value: "307280005", Scheme: "SCT"}, "rhythm_device"},
		"a value of another scheme says nothing":  {procedure.Code{Value: "36969009", Scheme: "99SITE"}, "neuro"},
		"catheterisation alone says not what for": {procedure.Code{Value: "41976001", Scheme: "SCT"}, "neuro"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			m := lexicon.Default().Classify(procedure.Procedure{Study: procedure.Study{Description: "cerebral angiography", ProcedureCodes: []procedure.Code{tt.code}}})
			assert.Equal(t, tt.want, m.Class.ID)
		})
	}
}

func TestTargetCodesPointToPlacesOfTheBody(t *testing.T) {
	// SRT and SCT name one concept by two codes, so both point to one place.
	pairs := [][2]string{
		{"80891009", "T-32000"},
		{"51185008", "T-D3000"},
		{"113345001", "T-D4000"},
		{"12921003", "T-D6000"},
		{"69536005", "T-D1100"},
		{"45048000", "T-D1600"},
		{"61685007", "T-D9000"},
		{"15825003", "T-42000"},
		{"10293006", "T-46700"},
		{"28273000", "T-60610"},
	}
	places := []string{"heart", "arch", "visceral_aorta", "infrarenal_aorta", "iliac", "pelvis", "groin", "liver", "neck", "brain", "lower_limb"}
	for _, pair := range pairs {
		place, ok := lexicon.PlaceOf(procedure.Code{Value: pair[0], Scheme: "SCT"})
		require.True(t, ok, pair[0])
		assert.Contains(t, places, place)
		older, ok := lexicon.PlaceOf(procedure.Code{Value: pair[1], Scheme: "SRT"})
		require.True(t, ok, pair[1])
		assert.Equal(t, place, older, pair[1])
		a, _ := lexicon.DoseRegionOf(procedure.Event{Target: procedure.Code{Value: pair[0], Scheme: "SCT"}})
		b, _ := lexicon.DoseRegionOf(procedure.Event{Target: procedure.Code{Value: pair[1], Scheme: "SRT"}})
		assert.Equal(t, a, b, pair[1])
	}
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
