package level_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

const ruled = `scheme,title,id,meaning,quantity,value,step,unit,on,text,source,known,classes,age_from,age_below,pregnant
site,Site levels,child,notification,kar,1.5,,Gy,yes,,committee,judgement,,,16,
site,Site levels,coronary,notification,kar,2,,Gy,yes,,committee,judgement,coronary_diagnostic coronary_intervention,,,
site,Site levels,pregnant,physics review,kar,0.1,,Gy,yes,,committee,judgement,,,,yes
site,Site levels,all,follow-up,kar,5,,Gy,yes,,committee,judgement,,,,
`

// TestRulesByClassAgeAndPregnancy shows whom a level with a rule is for; what is not known has it compared, except over a sum.
func TestRulesByClassAgeAndPregnancy(t *testing.T) {
	set, err := level.Parse(strings.NewReader(ruled))
	require.NoError(t, err)
	age := func(v float64) quantity.Opt[float64] { return quantity.Some(v) }
	tests := map[string]struct {
		who  level.Who
		want []string
	}{
		"an adult of another class":       {level.Who{Class: "neuro", Age: age(60)}, []string{"all"}},
		"a child":                         {level.Who{Class: "neuro", Age: age(15.9)}, []string{"child", "all"}},
		"the birthday ends the rule":      {level.Who{Class: "neuro", Age: age(16)}, []string{"all"}},
		"a class of the rule":             {level.Who{Class: "coronary_intervention", Age: age(60)}, []string{"coronary", "all"}},
		"age not known":                   {level.Who{Class: "neuro"}, []string{"child", "all"}},
		"class not known":                 {level.Who{Class: "unclassified", Age: age(60)}, []string{"coronary", "all"}},
		"pregnant":                        {level.Who{Class: "neuro", Age: age(30), Pregnant: true}, []string{"pregnant", "all"}},
		"a sum of which nothing is known": {level.Who{Several: true}, []string{"all"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			kerma := quantity.Some[quantity.Gray](2.5)
			e := level.Evaluate(set, level.Input{Who: tt.who, Dose: procedure.CaseDose{Kerma: kerma, LeastKerma: kerma}})
			var got []string
			for _, r := range e.Results {
				got = append(got, r.Row.ID)
			}
			assert.Equal(t, tt.want, got)
			if name == "age not known" {
				assert.Contains(t, e.Results[0].Text, "the age that this level is for is not known")
			}
		})
	}
}

func TestLevelsAreReadBackAsWritten(t *testing.T) {
	for name, text := range map[string]string{"rules": ruled, "published": ""} {
		set := level.Default()
		if text != "" {
			var err error
			set, err = level.Parse(strings.NewReader(text))
			require.NoError(t, err, name)
		}
		var b bytes.Buffer
		require.NoError(t, level.Write(&b, set), name)
		back, err := level.Parse(&b)
		require.NoError(t, err, name)
		assert.Equal(t, set, back, name)
	}
	for name, change := range map[string][2]string{
		"age that is none":      {",,16,", ",,x,"},
		"ages the wrong way":    {",,16,", ",17,16,"},
		"pregnant that is none": {",,yes\n", ",,maybe\n"},
		"no level at all":       {"yes,,committee", "no,,committee"},
	} {
		_, err := level.Parse(strings.NewReader(strings.ReplaceAll(ruled, change[0], change[1])))
		assert.ErrorIs(t, err, level.ErrInvalid, name)
	}
}
