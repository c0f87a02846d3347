package web

import (
	"net/http"

	"afterbeam/internal/httpapi"
)

// profileDraft is the form by which a profile of a device is written down.
type profileDraft struct {
	ID, Called string
	ETag       string
	// Base is the version whose particulars the form starts from, 0 for none.
	Base   int
	Groups []particularGroup
	Typed  typed
	Wrong  string
}

// particularGroup is a part of the form.
type particularGroup struct {
	Key    string
	Fields []particular
}

// groupsOf cuts the particulars into the parts of the form, by the first of each.
func groupsOf(all []particular) []particularGroup {
	begins := map[string]string{
		"name": "device", "kerma_factor.value": "kerma", "kap_factor.value": "kap", "source_to_reference_mm": "geometry",
		"table_axes.longitudinal.grows_toward": "axes", "table.known": "table",
	}
	var groups []particularGroup
	for _, p := range all {
		if key := begins[p.Path]; key != "" {
			groups = append(groups, particularGroup{Key: key})
		}
		last := &groups[len(groups)-1]
		last.Fields = append(last.Fields, p)
	}
	return groups
}

func (v *view) profileDraft(wrong string) (profileDraft, error) {
	id := escape(v.param("id"))
	d := profileDraft{ID: v.param("id"), Typed: v.typed(), Wrong: wrong}
	one, err := ask[httpapi.DeviceDetail](v, http.MethodGet, "/v1/devices/"+id, nil)
	if err != nil {
		return d, err
	}
	d.Called = called(one.Device)
	list, etag, err := v.profiles(id)
	if err != nil {
		return d, err
	}
	d.ETag = d.Typed.Or("etag", etag)
	profile := []byte("{}")
	for _, p := range list { // newest first: what is in force is what changes most often by little
		if p.State == httpapi.DeviceProfileStateInForce {
			profile, d.Base = p.Particulars, p.Version
			break
		}
	}
	all, err := particularsOf(profile)
	if v.c.Request().Method == http.MethodPost {
		for i := range all {
			all[i].Value = v.text(all[i].Name())
		}
	}
	d.Groups = groupsOf(all)
	return d, err
}

// draftProfile keeps a profile as a draft, which another physicist signs.
func draftProfile(v *view) (any, error) {
	again := func(wrong string) (any, error) { return v.profileDraft(wrong) }
	what, wrong, err := v.typedParticulars()
	if err != nil {
		return nil, err
	}
	if wrong != "" {
		data, err := again(v.lang.Text("devices.want_number", "field", v.lang.Text("particular."+wrong)))
		return shown{http.StatusUnprocessableEntity, data}, err
	}
	id := escape(v.param("id"))
	body := httpapi.ProfileRequest{From: v.text("from"), Reason: v.text("reason"), Particulars: what}
	_, err = v.call(http.MethodPost, "/v1/devices/"+id+"/profiles", body, "If-Match", v.form("etag"))
	return v.answered(err, "/devices/"+id+"?done=profile-drafted", again)
}
