package demo_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
)

// TestRoomsShowTheClassesOfKnowledge holds the scenario to its purpose: each way in which a result can be known occurs.
func TestRoomsShowTheClassesOfKnowledge(t *testing.T) {
	profiles := map[string]procedure.DeviceProfile{}
	for _, p := range demo.Profiles() {
		profiles[p.Device] = p
	}
	places := map[string]string{"80891009": "heart", "51185008": "arch", "113345001": "visceral_aorta"}
	site := func(c procedure.Code) (string, bool) {
		place, ok := places[c.Value]
		return place, ok
	}
	tests := map[string]struct {
		method skindose.Method
		class  skindose.Class
	}{
		stageOne:                             {skindose.MethodMap, skindose.Controlled},
		stageTwo:                             {skindose.MethodMap, skindose.Controlled},
		"cath2-coronary-total-occlusion.dcm": {skindose.MethodMapAssumed, skindose.Typical}, // table axes without zeros
		"cath2-coronary-angiography.dcm":     {skindose.MethodMapAssumed, skindose.Typical},
		"rhythm3-ablation.dcm":               {skindose.MethodMapAssumed, skindose.LittleKnown},
		"mobile-rhythm-device.dcm":           {skindose.MethodTotals, skindose.LittleKnown},
	}
	for file, tt := range tests {
		t.Run(file, func(t *testing.T) {
			p := procedure.Merge([]procedure.Report{report(t, file)})[0]
			got := skindose.Evaluate(skindose.Input{
				Procedure: p, Profile: profiles[p.DeviceKey], Group: "unknown", Site: "visceral_aorta", EventSite: site,
			})
			assert.Equal(t, tt.method, got.Method, got.Reason)
			assert.Equal(t, tt.class.String(), got.Class.String())
			value, ok := got.Value.Get()
			require.True(t, ok)
			low, high := got.Low.Or(0), got.High.Or(0)
			assert.True(t, 0 < low && low < value && value < high)
			t.Logf("%s: %.2f Gy (%.2f to %.2f)", got.Method, float64(value), float64(low), float64(high))
		})
	}
}
