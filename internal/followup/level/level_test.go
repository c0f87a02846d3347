package level_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func psd(gy float64) quantity.Opt[level.Estimated] {
	return quantity.Some(level.Estimated{Value: quantity.Gray(gy), High: quantity.Gray(gy), Method: "map"})
}

// dose is a single plane with known totals; a negative value is absent.
func dose(kermaGy, kapGycm2 float64) procedure.CaseDose {
	var d procedure.CaseDose
	if kermaGy >= 0 {
		d.Kerma = quantity.Some(quantity.Gray(kermaGy))
		d.LeastKerma = d.Kerma
	}
	if kapGycm2 >= 0 {
		d.KAP = quantity.Some(quantity.GraySquareMetre(kapGycm2) * quantity.GraySquareCentimetre)
		d.LeastKAP = d.KAP
	}
	return d
}

// only gives the published levels with nothing on but one scheme.
func only(scheme string) level.Set {
	set := level.Default()
	for i := range set.Rows {
		set.Rows[i].On = set.Rows[i].Scheme == scheme && set.Rows[i].Quantity != level.QuantityNone
	}
	return set
}

// C10. Source: Balter et al 2010 Radiology 254:326, Table (read in the reprint of AAPM MPPG 12.a); edges by our rule.
func TestBands(t *testing.T) {
	for gy, want := range map[float64]string{
		0: "A1", 1.9: "A1", 2.0: "A2", 4.9: "A2", 5.0: "B", 9.9: "B", 10: "C", 15.0: "C", 15.1: "D", 40: "D",
	} {
		assert.Equal(t, want, level.BandOf(quantity.Gray(gy)).Name, "%v Gy", gy)
	}
}

// C11. Source: NCI/SIR advice 2005, page 6 (read): visit at 30 days from 2 Gy to the skin or 3 Gy cumulative.
func TestAdviceOf2005(t *testing.T) {
	set := only("nci2005")
	tests := []struct {
		skin, cumulative float64
		want             level.State
	}{{1.9, 2.9, level.Below}, {2.0, 1.0, level.Reached}, {0.5, 3.0, level.Reached}}
	for _, tt := range tests {
		e := level.Evaluate(set, level.Input{PSD: psd(tt.skin), Dose: dose(tt.cumulative, -1)})
		assert.Equal(t, tt.want, e.State, "%v", tt)
	}
}

// C12. Source: NCRP 168 and SIR: 5 Gy read, 3 Gy secondhand; >= is our rule.
func TestSubstantialLevels(t *testing.T) {
	set := only("ncrp168")
	tests := []struct {
		kerma, skin float64
		want        level.State
	}{{4.99, 2.9, level.Below}, {5.0, 0.5, level.Reached}, {3.2, 3.0, level.Reached}, {4.9999999, 2.9999999, level.Below}}
	for _, tt := range tests {
		e := level.Evaluate(set, level.Input{PSD: psd(tt.skin), Dose: dose(tt.kerma, 100)})
		assert.Equal(t, tt.want, e.State, "%v", tt)
	}
}

// C13. Source: AAPM MPPG 12.a section 5.3 (secondhand): 3 Gy and each further 1 Gy.
func TestNotifications(t *testing.T) {
	set := only("mppg12a")
	for i := range set.Rows {
		set.Rows[i].On = set.Rows[i].On && set.Rows[i].Step > 0
	}
	tests := map[float64][]float64{2.999: nil, 3: {3}, 3.999: {3}, 4: {3, 4}, 6.2: {3, 4, 5, 6}}
	for kerma, want := range tests {
		e := level.Evaluate(set, level.Input{Dose: dose(kerma, -1)})
		require.Len(t, e.Results, 1)
		assert.InDeltaSlice(t, want, e.Results[0].Passed, 1e-9, "%v Gy", kerma) // a few roundings
		assert.Len(t, e.Results[0].Passed, len(want))
	}
}

// C14. Source: Stecker et al 2009 J Vasc Interv Radiol 20:S263, footnote (memory): a field of 50 cm2 halves the level.
func TestFieldScaling(t *testing.T) {
	set := only("ncrp168")
	for area, want := range map[float64]float64{50: 250, 100: 500, 200: 1000} {
		field := quantity.Some(quantity.SquareMetre(area) * quantity.SquareCentimetre)
		for _, kap := range []struct {
			value float64
			state level.State
		}{{want * 0.999, level.Below}, {want * 1.001, level.Reached}} {
			e := level.Evaluate(set, level.Input{PSD: psd(1), Dose: dose(1, kap.value), FieldAtSkin: field})
			assert.Equal(t, kap.state, e.State, "%v cm2, %v Gy cm2", area, kap.value)
		}
	}
	set.PlainKAP = true
	e := level.Evaluate(set, level.Input{PSD: psd(1), Dose: dose(1, 300), FieldAtSkin: quantity.Some(50 * quantity.SquareCentimetre)})
	assert.Equal(t, level.Below, e.State, "scaling switched off")
}

// Each row with a number: just below, at, just above.
func TestEveryRowAtItsLevel(t *testing.T) {
	for i, row := range level.Default().Rows {
		if row.Quantity == level.QuantityNone {
			continue
		}
		set := level.Default()
		for k := range set.Rows {
			set.Rows[k].On = k == i
		}
		t.Run(row.Scheme+" "+row.ID, func(t *testing.T) {
			for _, at := range []struct {
				factor float64
				want   level.State
			}{{1 - 1e-12, level.Below}, {1, level.Reached}, {1 + 1e-12, level.Reached}} {
				in := level.Input{PSD: psd(0.1), Dose: dose(0.1, 1)}
				v := row.Value * at.factor
				switch row.Quantity {
				case level.PSD:
					in.PSD = psd(v)
				case level.Kerma:
					in.Dose = dose(v, 1)
				case level.KAP:
					in.Dose = dose(0.1, v/1e-4)
					in.Dose.KAP = quantity.Some(quantity.GraySquareMetre(v))
					in.Dose.LeastKAP = in.Dose.KAP
				case level.FluoroTime:
					in = level.Input{Dose: procedure.CaseDose{FluoroTime: quantity.Some(quantity.Second(v)), LeastTime: quantity.Some(quantity.Second(v))}}
					if at.want == level.Below {
						at.want = level.Unknown // no dose quantity is known, so nothing is below
					}
				case level.QuantityNone:
				}
				assert.Equal(t, at.want, level.Evaluate(set, in).State, "%v", at.factor)
			}
		})
	}
}

func TestWhatIsNotKnownIsNotBelow(t *testing.T) {
	set := level.Default()
	partial := dose(1, 50)
	partial.Kerma, partial.KermaMissing = quantity.None[quantity.Gray](), []string{"plane B"}
	over := partial
	over.LeastKerma = quantity.Some(quantity.Gray(5.1))
	suspect := dose(1, 50)
	suspect.Suspicion = procedure.SuspectKAP
	suspectOver := dose(1, 501)
	suspectOver.Suspicion = procedure.SuspectKAP
	near := quantity.Some(level.Estimated{Value: 2.2, High: 3.4, Method: "map-assumed"})
	nearby := func(d procedure.CaseDose) level.Input { return level.Input{PSD: near, Dose: d} }
	tests := map[string]struct {
		in   level.Input
		want level.State
	}{
		"nothing at all":                                     {level.Input{}, level.Unknown},
		"all known and low":                                  {level.Input{PSD: psd(1), Dose: dose(1, 50)}, level.Below},
		"no skin dose, Ka,r and KAP low":                     {level.Input{Dose: dose(1, 50)}, level.Below},
		"only KAP, low":                                      {level.Input{Dose: dose(-1, 50)}, level.Below},
		"a plane's kerma missing":                            {level.Input{PSD: psd(1), Dose: partial}, level.Unknown},
		"a plane's kerma missing, the other over":            {level.Input{PSD: psd(1), Dose: over}, level.Reached},
		"a plane's kerma missing, range near":                {nearby(partial), level.Near},
		"suspect KAP, low":                                   {level.Input{PSD: psd(1), Dose: suspect}, level.Unknown},
		"suspicion never removes a flag":                     {level.Input{PSD: psd(1), Dose: suspectOver}, level.Reached},
		"suspect KAP, range near":                            {nearby(suspect), level.Near},
		"range reaches the level":                            {nearby(dose(1, 50)), level.Near},
		"a low skin dose never silences Ka,r":                {level.Input{PSD: psd(0.5), Dose: dose(5.0, 50)}, level.Reached},
		"only fluoroscopy time, short: no dose is known":     {level.Input{Dose: procedure.CaseDose{FluoroTime: quantity.Some(quantity.Second(60)), LeastTime: quantity.Some(quantity.Second(60))}}, level.Unknown},
		"only fluoroscopy time, long":                        {level.Input{Dose: procedure.CaseDose{FluoroTime: quantity.Some(quantity.Second(3600)), LeastTime: quantity.Some(quantity.Second(3600))}}, level.Reached},
		"a lower bound of skin dose alone is not below":      {level.Input{PSD: quantity.Some(level.Estimated{Value: 1, High: 1, LowerBound: true})}, level.Unknown},
		"quality control":                                    {level.Input{QualityControl: true, PSD: psd(20), Dose: dose(20, 2000)}, level.NoFlag},
		"signed factor raises over the level":                {level.Input{PSD: psd(1), Dose: dose(4.8, 50), KermaFactor: quantity.Some(1.05)}, level.Reached},
		"signed factor below 1 does not silence the display": {level.Input{PSD: psd(1), Dose: dose(5.0, 50), KermaFactor: quantity.Some(0.9)}, level.Reached},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := level.Evaluate(set, tt.in)
			assert.Equal(t, tt.want, e.State)
			if tt.want == level.Unknown {
				assert.NotEmpty(t, e.Reasons, "unknown says why")
			}
		})
	}
}

func TestFluoroscopyTimeIsInformationWhereADoseExists(t *testing.T) {
	in := level.Input{PSD: psd(1), Dose: dose(1, 50)}
	in.Dose.FluoroTime = quantity.Some(quantity.Second(4000))
	in.Dose.LeastTime = in.Dose.FluoroTime
	e := level.Evaluate(level.Default(), in)
	assert.Equal(t, level.Below, e.State)
	require.Len(t, e.Notes, 1)
	assert.Contains(t, e.Notes[0], "66.7 min")
}

func TestPlanesAreShown(t *testing.T) {
	planes := []procedure.PlaneDose{
		{Plane: procedure.PlaneA, TotalKerma: quantity.Some(quantity.Gray(2.5))},
		{Plane: procedure.PlaneB, TotalKerma: quantity.Some(quantity.Gray(2.6))},
	}
	e := level.Evaluate(level.Default(), level.Input{Dose: dose(5.1, -1), Planes: planes})
	assert.Equal(t, level.Reached, e.State, "the sum of the planes is the cautious value")
	assert.Contains(t, strings.Join(e.Notes, "\n"), "plane A: Ka,r 2.50 Gy")
}

func TestAValueBelowNeverPrintsAsTheLevel(t *testing.T) {
	e := level.Evaluate(only("ncrp168"), level.Input{PSD: psd(2.9999), Dose: dose(4.9999, 499.9)})
	for _, r := range e.Results {
		assert.Equal(t, level.Below, r.State)
		if r.Row.Quantity == level.Kerma {
			assert.Contains(t, r.Text, "4.99 Gy")
		}
		if r.Row.Quantity == level.KAP {
			assert.Contains(t, r.Text, "499 Gy cm2")
		}
	}
}

func TestDefaults(t *testing.T) {
	on := map[string]bool{}
	for _, r := range level.Default().Rows {
		assert.NotEmpty(t, r.Source, r.ID)
		assert.NotEmpty(t, r.Known, r.ID)
		assert.NotContains(t, strings.ToLower(fmt.Sprint(r)), "sentinel")
		if r.On {
			on[r.Scheme+"/"+r.ID] = true
		}
	}
	assert.Equal(t, map[string]bool{
		"ncrp168/psd": true, "ncrp168/kar": true, "ncrp168/kap": true, "ncrp168/ft": true, "mppg12a/notify": true, "site/risk": true,
	}, on)
}

func TestParseRefuses(t *testing.T) {
	const head = "scheme,title,id,meaning,quantity,value,step,unit,on,text,source,known\n"
	tests := map[string]struct{ text, want string }{
		"nothing":            {"", "no header line"},
		"other columns":      {"a,b,c,d,e,f,g,h,i,j,k,l\n", "wants the columns"},
		"empty set":          {head, "nothing would ever be flagged"},
		"all off":            {head + "s,S,a,m,kar,5,,Gy,no,t,src,read\n", "nothing would ever be flagged"},
		"only text":          {head + "s,S,a,m,none,,,,no,t,src,read\n", "nothing would ever be flagged"},
		"text switched on":   {head + "s,S,a,m,none,,,,yes,t,src,read\n", "line 2"},
		"no source":          {head + "s,S,a,m,kar,5,,Gy,yes,t,,read\n", "line 2: source and known"},
		"unit":               {head + "s,S,a,m,kar,5000,,mGy,yes,t,src,read\n", "wants Gy"},
		"zero":               {head + "s,S,a,m,kar,0,,Gy,yes,t,src,read\n", "above 0"},
		"not a number":       {head + "s,S,a,m,kar,NaN,,Gy,yes,t,src,read\n", "above 0"},
		"quantity":           {head + "s,S,a,m,dap,5,,Gy,yes,t,src,read\n", "psd, kar, kap, ft"},
		"twice":              {head + "s,S,a,m,kar,5,,Gy,yes,t,src,read\ns,S,a,m,kar,6,,Gy,yes,t,src,read\n", "line 3: level s/a stands in line 2"},
		"switch":             {head + "s,S,a,m,kar,5,,Gy,on,t,src,read\n", "on wants yes or no"},
		"too few fields":     {head + "s,S,a\n", "levels not usable"},
		"no name of the row": {head + "s,S,,m,kar,5,,Gy,yes,t,src,read\n", "scheme, title, id"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := level.Parse(strings.NewReader(tt.text))
			require.ErrorIs(t, err, level.ErrInvalid)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

func FuzzParse(f *testing.F) {
	f.Add("scheme,title,id,meaning,quantity,value,step,unit,on,text,source,known\ns,S,a,m,kar,5,1,Gy,yes,t,src,read\n")
	f.Fuzz(func(t *testing.T, text string) {
		set, err := level.Parse(strings.NewReader(text))
		if err == nil {
			level.Evaluate(set, level.Input{Dose: dose(5, 5)})
		}
	})
}
