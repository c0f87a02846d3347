package httpapi_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/trend"
)

// scope is how the rooms of an account bear on an endpoint.
type scope int

const (
	noScope   scope = iota // open to its roles whatever their rooms
	inRoom                 // one object of a room: another room's is not there
	listed                 // a list that leaves the other rooms' out
	wholeSite              // for accounts that see every room
	searched               // a search that finds nothing in another room
)

// expectation is what the matrix wants of one endpoint. It is written by hand, beside the table of permissions, so that a
// change of one shows in the other.
type expectation struct {
	// roles are those that may: p physicist, o operator, q quality, a admin, u auditor, s service.
	roles string
	scope scope
	// ask makes an object in the room and gives path, body and headers of a request that is right in every other way.
	ask func(r *rig, room string) (path, body string, headers []string)
	ok  int
}

func at(path string) func(*rig, string) (string, string, []string) {
	return func(*rig, string) (string, string, []string) { return path, "", nil }
}

func procedurePath(rest string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		return "/v1/procedures/" + r.procedure(room).ID + rest, "", nil
	}
}

// patientPath makes a patient with one procedure in the room.
func patientPath(rest string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		return "/v1/patients/" + r.stranger(room).PatientID + rest, "", nil
	}
}

const reason = `{"reason":"seen and judged"}`

// stranger makes a procedure of a patient of its own.
func (r *rig) stranger(room string) store.Case {
	return r.procedureOf(room, store.Identity{Number: fmt.Sprintf("N-%d", r.cases), Issuer: "TEST"})
}

// summarised makes a procedure in the room, whose name the summary of its month holds for those who see it.
func summarised(path string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		r.stranger(room)
		return path, "", nil
	}
}

// agreed makes an action of the room.
func (r *rig) agreed(room string) string {
	a, err := r.db.AgreeAction(context.Background(), actor, store.PeriodAction{
		Action: summary.Action{Period: "2026-09", Text: "look at the filters", Owner: "physics", Due: "2099-10-01"}, Room: room,
	})
	require.NoError(r.t, err)
	return a.ID
}

func matrix() map[string]expectation {
	quarantined := func(rest string) func(*rig, string) (string, string, []string) {
		return func(r *rig, _ string) (string, string, []string) {
			return "/v1/quarantine/" + r.receipt("other object").ID + rest, reason, nil
		}
	}
	accountPath := func(rest, body string) func(*rig, string) (string, string, []string) {
		return func(r *rig, _ string) (string, string, []string) {
			_, a := r.account(access.Auditor, nil)
			return "/v1/accounts/" + a.ID + rest, body, nil
		}
	}
	return map[string]expectation{
		"POST /v1/procedures/:id/papers": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/procedures/" + r.procedure(room).ID + "/papers", `{"kind":"patient-sheet"}`, nil
		}, ok: 201},
		"GET /v1/procedures/:id/papers": {roles: "po", scope: inRoom, ask: procedurePath("/papers"), ok: 200},
		"GET /v1/procedures/:id/papers/:paper": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			c := r.procedure(room)
			p, err := papers{r.db}.Make(context.Background(), actor, c.ID, httpapi.PaperAsk{Kind: "patient-sheet"})
			require.NoError(r.t, err)
			return "/v1/procedures/" + c.ID + "/papers/" + p.ID, "", nil
		}, ok: 200},
		"GET /v1/summaries/:period":           {roles: "poq", scope: listed, ask: summarised("/v1/summaries/2026-09"), ok: 200},
		"GET /v1/procedures/:id/case-reviews": {roles: "pq", scope: inRoom, ask: procedurePath("/case-reviews"), ok: 200},
		"POST /v1/procedures/:id/case-reviews": {roles: "pq", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/procedures/" + r.stranger(room).ID + "/case-reviews", `{"version":1,"state":"pending","reason":"asked for by the committee"}`, nil
		}, ok: 201},
		"GET /v1/actions": {roles: "poq", scope: listed, ask: func(r *rig, room string) (string, string, []string) {
			r.agreed(room)
			return "/v1/actions?period=2026-09", "", nil
		}, ok: 200},
		"POST /v1/actions": {roles: "pq", scope: inRoom, ask: func(_ *rig, room string) (string, string, []string) {
			return "/v1/actions", fmt.Sprintf(`{"period":"2026-09","room":%q,"text":"look at the filters","owner":"physics","due_on":"2099-10-01"}`, room), nil
		}, ok: 201},
		"GET /v1/actions/:id": {roles: "poq", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/actions/" + r.agreed(room), "", nil
		}, ok: 200},
		"POST /v1/actions/:id/changes": {roles: "pq", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/actions/" + r.agreed(room) + "/changes", `{"event":"noted","text":"parts are on the way"}`, nil
		}, ok: 200},
		"GET /v1/exports/procedures": {roles: "pq", scope: listed, ask: summarised("/v1/exports/procedures"), ok: 200},
		"GET /v1/exports/events":     {roles: "pq", scope: listed, ask: summarised("/v1/exports/events"), ok: 200},
		"GET /v1/chart-baselines":    {roles: "pq", ask: at("/v1/chart-baselines"), ok: 200},
		// Twenty cases make a baseline; here it is enough that the chart is looked for.
		"POST /v1/chart-baselines": {roles: "pq", scope: wholeSite, ask: func(*rig, string) (string, string, []string) {
			return "/v1/chart-baselines", `{"chart":"no such chart","period":"2026-09","reason":"one protocol"}`, nil
		}, ok: 400},
		"POST /v1/chart-baselines/end": {roles: "pq", scope: wholeSite, ask: func(r *rig, _ string) (string, string, []string) {
			_, err := r.db.FreezeBaseline(context.Background(), actor, trend.Baseline{Key: "a chart", Kind: trend.Share, N: 20}, "one protocol")
			require.NoError(r.t, err)
			return "/v1/chart-baselines/end", `{"chart":"a chart","reason":"the room was rebuilt"}`, nil
		}, ok: 204},
		"GET /healthz": {roles: "poqaus-", ask: at("/healthz"), ok: 204},
		"GET /readyz":  {roles: "poqaus-", ask: at("/readyz"), ok: 204},
		"GET /v1/me":   {roles: "poqaus", ask: at("/v1/me"), ok: 200},
		"POST /v1/setup": {roles: "", ask: func(*rig, string) (string, string, []string) {
			return "/v1/setup", `{"name":"somebody"}`, nil
		}},
		"POST /v1/reports": {roles: "ps", ask: func(r *rig, _ string) (string, string, []string) {
			r.cases++
			return "/v1/reports", doseReport(fmt.Sprintf("2.25.5%d", r.cases)), []string{"Content-Type", "application/dicom"}
		}, ok: 201},
		"GET /v1/reports": {roles: "p", scope: wholeSite, ask: at("/v1/reports"), ok: 200},
		"GET /v1/receipts/:id": {roles: "ps", scope: wholeSite, ask: func(r *rig, _ string) (string, string, []string) {
			return "/v1/receipts/" + r.receipt("other object").ID, "", nil
		}, ok: 200},
		"GET /v1/receipts/:id/file": {roles: "p", scope: wholeSite, ask: func(r *rig, _ string) (string, string, []string) {
			return "/v1/receipts/" + r.receipt("other object").ID + "/file", "", nil
		}, ok: 200},
		"GET /v1/quarantine":              {roles: "p", scope: wholeSite, ask: at("/v1/quarantine"), ok: 200},
		"POST /v1/quarantine/:id/reread":  {roles: "p", scope: wholeSite, ask: rereadable, ok: 202},
		"POST /v1/quarantine/:id/discard": {roles: "p", scope: wholeSite, ask: quarantined("/discard"), ok: 204},
		"GET /v1/reviews":                 {roles: "p", scope: wholeSite, ask: at("/v1/reviews"), ok: 200},
		"POST /v1/reviews/:id/settle":     {roles: "p", scope: wholeSite, ask: openReview, ok: 204},

		"GET /v1/procedures":               {roles: "poq", scope: listed, ask: listing("/v1/procedures?limit=500"), ok: 200},
		"GET /v1/procedures/:id":           {roles: "poq", scope: inRoom, ask: procedurePath(""), ok: 200},
		"GET /v1/procedures/:id/facts":     {roles: "po", scope: inRoom, ask: procedurePath("/facts"), ok: 200},
		"PATCH /v1/procedures/:id/facts":   {roles: "p", scope: inRoom, ask: changeable, ok: 202},
		"GET /v1/procedures/:id/events":    {roles: "poq", scope: inRoom, ask: procedurePath("/events"), ok: 200},
		"GET /v1/procedures/:id/estimates": {roles: "poq", scope: inRoom, ask: procedurePath("/estimates"), ok: 200},
		"GET /v1/procedures/:id/estimates/:version": {
			roles: "poq", scope: inRoom, ask: procedurePath("/estimates/1"), ok: 200,
		},
		"GET /v1/procedures/:id/map":     {roles: "po", scope: inRoom, ask: procedurePath("/map"), ok: 200},
		"GET /v1/procedures/:id/organs":  {roles: "po", scope: inRoom, ask: procedurePath("/organs"), ok: 200},
		"GET /v1/procedure-counts":       {roles: "poq", scope: noScope, ask: at("/v1/procedure-counts"), ok: 200},
		"GET /v1/procedures/:id/notices": {roles: "po", scope: inRoom, ask: procedurePath("/notices"), ok: 200},
		"POST /v1/procedures/:id/acknowledge": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/procedures/" + r.procedure(room).ID + "/acknowledge", `{"version":1}`, nil
		}, ok: 200},
		"GET /v1/notices/:id": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/notices/" + r.noticed(room).ID, "", nil
		}, ok: 200},
		"POST /v1/notices/:id/resend": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/notices/" + r.noticed(room).ID + "/resend", reason, nil
		}, ok: 202},
		"GET /v1/notice-channels":                 {roles: "a", ask: at("/v1/notice-channels"), ok: 200},
		"GET /v1/operations":                      {roles: "a", ask: at("/v1/operations"), ok: 200},
		"GET /v1/me/notice-preferences":           {roles: "poa", ask: at("/v1/me/notice-preferences"), ok: 200},
		"PUT /v1/me/notice-preferences":           {roles: "poa", ask: preferring("/v1/me"), ok: 200},
		"GET /v1/accounts/:id/notice-preferences": {roles: "a", ask: accountPath("/notice-preferences", ""), ok: 200},
		"PUT /v1/accounts/:id/notice-preferences": {roles: "a", ask: accountPath("/notice-preferences", `{"from":"follow-up","language":"de"}`), ok: 200},
		"GET /v1/flags":                           {roles: "poq", scope: listed, ask: listing("/v1/flags?limit=500"), ok: 200},

		"POST /v1/patients/search": {roles: "po", scope: listed, ask: func(r *rig, room string) (string, string, []string) {
			p, err := r.db.Patient(context.Background(), r.stranger(room).PatientID)
			require.NoError(r.t, err)
			return "/v1/patients/search", fmt.Sprintf(`{"number":%q}`, p.Identity.Number), nil
		}, ok: 200},
		"GET /v1/patients/:id":      {roles: "po", scope: inRoom, ask: patientPath(""), ok: 200},
		"GET /v1/patients/:id/dose": {roles: "po", scope: inRoom, ask: patientPath("/dose"), ok: 200},
		"GET /v1/patients/:id/map":  {roles: "po", scope: inRoom, ask: patientPath("/map"), ok: 200},
		"POST /v1/patients/:id/beam-plans": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/patients/" + r.stranger(room).PatientID + "/beam-plans", `{"grid":{"kerma_gy":1}}`, nil
		}, ok: 200},
		"GET /v1/patients/:id/links": {roles: "p", scope: wholeSite, ask: patientPath("/links"), ok: 200},
		"POST /v1/patients/:id/links": {roles: "p", scope: wholeSite, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/patients/" + r.stranger(room).PatientID + "/links",
				fmt.Sprintf(`{"other_patient":%q,"reason":"same person"}`, r.stranger(room).PatientID), nil
		}, ok: 201},
		"POST /v1/links/:id/undo": {roles: "p", scope: wholeSite, ask: func(r *rig, room string) (string, string, []string) {
			l, err := r.db.LinkPatients(context.Background(), actor, r.stranger(room).PatientID, r.stranger(room).PatientID, "same person")
			require.NoError(r.t, err)
			return "/v1/links/" + l.ID + "/undo", reason, nil
		}, ok: 204},

		"POST /dicomweb/studies":        {roles: "ps", ask: stored("/dicomweb/studies"), ok: 200},
		"POST /dicomweb/studies/:study": {roles: "ps", ask: stored("/dicomweb/studies/2.25.1002"), ok: 200},
		"GET /dicomweb/studies":         {roles: "p", scope: searched, ask: webPath("/dicomweb/studies?StudyInstanceUID=%[1]s"), ok: 200},
		"GET /dicomweb/series":          {roles: "p", scope: searched, ask: webPath("/dicomweb/series?SeriesInstanceUID=%[2]s"), ok: 200},
		"GET /dicomweb/instances":       {roles: "p", scope: searched, ask: webPath("/dicomweb/instances?SOPInstanceUID=%[3]s"), ok: 200},
		"GET /dicomweb/studies/:study/series": {
			roles: "p", scope: searched, ask: webPath("/dicomweb/studies/%[1]s/series"), ok: 200,
		},
		"GET /dicomweb/studies/:study/instances": {
			roles: "p", scope: searched, ask: webPath("/dicomweb/studies/%[1]s/instances"), ok: 200,
		},
		"GET /dicomweb/studies/:study/series/:series/instances": {
			roles: "p", scope: searched, ask: webPath("/dicomweb/studies/%[1]s/series/%[2]s/instances"), ok: 200,
		},
		"GET /dicomweb/studies/:study":          {roles: "p", scope: inRoom, ask: webPath("/dicomweb/studies/%[1]s"), ok: 200},
		"GET /dicomweb/studies/:study/metadata": {roles: "p", scope: inRoom, ask: webPath("/dicomweb/studies/%[1]s/metadata"), ok: 200},
		"GET /dicomweb/studies/:study/series/:series": {
			roles: "p", scope: inRoom, ask: webPath("/dicomweb/studies/%[1]s/series/%[2]s"), ok: 200,
		},
		"GET /dicomweb/studies/:study/series/:series/metadata": {
			roles: "p", scope: inRoom, ask: webPath("/dicomweb/studies/%[1]s/series/%[2]s/metadata"), ok: 200,
		},
		"GET /dicomweb/studies/:study/series/:series/instances/:instance": {
			roles: "p", scope: inRoom, ask: webPath("/dicomweb/studies/%[1]s/series/%[2]s/instances/%[3]s"), ok: 200,
		},
		"GET /dicomweb/studies/:study/series/:series/instances/:instance/metadata": {
			roles: "p", scope: inRoom, ask: webPath("/dicomweb/studies/%[1]s/series/%[2]s/instances/%[3]s/metadata"), ok: 200,
		},

		"POST /v1/performed": {roles: "ps", scope: wholeSite, ask: func(*rig, string) (string, string, []string) {
			return "/v1/performed", "study_uid,start\n2.25.1,2026-09-14T08:30\n", []string{"Content-Type", "text/csv"}
		}, ok: 200},
		"GET /v1/performed": {roles: "pq", scope: listed, ask: performedIn("/v1/performed?limit=500"), ok: 200},
		"GET /v1/performed/:id": {roles: "p", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/performed/" + r.performed(room), "", nil
		}, ok: 200},
		"GET /v1/completeness": {roles: "pq", scope: listed, ask: performedIn("/v1/completeness?from=2026-09-01&to=2026-09-30&limit=500"), ok: 200},

		"GET /v1/people": {roles: "pqa", ask: func(r *rig, room string) (string, string, []string) {
			r.person(room)
			return "/v1/people?limit=500", "", nil
		}, ok: 200},
		"GET /v1/colleagues": {roles: "poq", ask: at("/v1/colleagues"), ok: 200},
		"POST /v1/people/:id/assign": {roles: "a", ask: func(r *rig, room string) (string, string, []string) {
			_, a := r.account(access.Operator, []string{room})
			return "/v1/people/" + r.person(room) + "/assign", fmt.Sprintf(`{"account_id":%q,"reason":"staff list"}`, a.ID), nil
		}, ok: 204},
		"POST /v1/people/:id/unassign": {roles: "a", ask: func(r *rig, room string) (string, string, []string) {
			_, a := r.account(access.Operator, []string{room})
			person := r.person(room)
			require.NoError(r.t, r.db.MapPerson(context.Background(), actor, person, a.ID, "staff list"))
			return "/v1/people/" + person + "/unassign", reason, nil
		}, ok: 204},
		"GET /v1/rooms/fallbacks": {roles: "pqa", ask: at("/v1/rooms/fallbacks"), ok: 200},
		"POST /v1/rooms/fallbacks": {roles: "a", ask: func(r *rig, room string) (string, string, []string) {
			_, a := r.account(access.Operator, []string{room})
			return "/v1/rooms/fallbacks", fmt.Sprintf(`{"room":%q,"account_id":%q,"reason":"head of the room"}`, room, a.ID), nil
		}, ok: 204},

		"GET /v1/devices":              {roles: "poqa", scope: listed, ask: devicePath("/v1/devices"), ok: 200},
		"GET /v1/devices/silent":       {roles: "poqa", scope: listed, ask: devicePath("/v1/devices/silent"), ok: 200},
		"GET /v1/devices/:id":          {roles: "poqa", scope: inRoom, ask: devicePath("/v1/devices/%s"), ok: 200},
		"GET /v1/devices/:id/profiles": {roles: "poqa", scope: inRoom, ask: devicePath("/v1/devices/%s/profiles"), ok: 200},
		"POST /v1/devices/:id/profiles": {roles: "p", scope: wholeSite, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/devices/" + r.device(room) + "/profiles", profileBody, []string{"If-Match", `"0-0"`}
		}, ok: 201},
		"POST /v1/devices/:id/profiles/:version/sign": {roles: "p", scope: wholeSite, ask: func(r *rig, room string) (string, string, []string) {
			id := r.device(room)
			_, err := r.db.DraftProfile(context.Background(), actor, store.Profile{DeviceID: id, From: "2026-09-01", Body: []byte("{}"), Drafter: "A"}, "0-0")
			require.NoError(r.t, err)
			return "/v1/devices/" + id + "/profiles/1/sign", reason, []string{"If-Match", `"1-0"`}
		}, ok: 200},
		"POST /v1/devices/:id/profiles/:version/withdraw": {roles: "p", scope: wholeSite, ask: func(r *rig, room string) (string, string, []string) {
			// Signed already, which is found out before whose it was: no holder here is the author.
			id := r.device(room)
			draft, err := r.db.DraftProfile(context.Background(), actor, store.Profile{DeviceID: id, From: "2026-09-01", Body: []byte("{}"), Drafter: "A"}, "0-0")
			require.NoError(r.t, err)
			_, _, err = r.db.SignProfile(context.Background(), store.Actor{Account: "another"}, id, draft.Version, "B", "checked", "1-0")
			require.NoError(r.t, err)
			return "/v1/devices/" + id + "/profiles/1/withdraw", reason, []string{"If-Match", `"1-1"`}
		}, ok: 409},
		"GET /v1/devices/:id/checks": {roles: "p", scope: inRoom, ask: devicePath("/v1/devices/%s/checks"), ok: 200},
		"POST /v1/devices/:id/checks": {roles: "p", scope: wholeSite, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/devices/" + r.checkable(room) + "/checks", checkBody(r.t), nil // the report is the same, the device another
		}, ok: 201},
		"GET /v1/devices/:id/checks/:check/sheet": {roles: "p", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			id := r.device(room)
			k, err := r.db.AddDeviceCheck(context.Background(), actor, store.DeviceCheck{DeviceID: id, Day: "2026-11-18", Answers: []byte("{}")}, nil, "0-0")
			require.NoError(r.t, err)
			return "/v1/devices/" + id + "/checks/" + k.ID + "/sheet", "", nil
		}, ok: 200},
		"GET /v1/recomputations": {roles: "p", scope: wholeSite, ask: at("/v1/recomputations"), ok: 200},
		"POST /v1/recomputations": {roles: "p", scope: wholeSite, ask: func(*rig, string) (string, string, []string) {
			return "/v1/recomputations", reason, nil
		}, ok: 202},
		"GET /v1/recomputations/:id":             {roles: "pq", scope: wholeSite, ask: recomputationPath(""), ok: 200},
		"GET /v1/recomputations/:id/differences": {roles: "pq", scope: wholeSite, ask: recomputationPath("/differences"), ok: 200},

		"GET /v1/lexicon":          {roles: "pq", ask: at("/v1/lexicon"), ok: 200},
		"GET /v1/lexicon/unmapped": {roles: "pq", scope: wholeSite, ask: at("/v1/lexicon/unmapped"), ok: 200},
		"GET /v1/lexicon-versions": {roles: "pq", ask: at("/v1/lexicon-versions"), ok: 200},
		"POST /v1/lexicon-versions": {roles: "pq", scope: wholeSite, ask: func(r *rig, _ string) (string, string, []string) {
			return "/v1/lexicon-versions", r.wordsOf("MRT X", "neuro"), nil
		}, ok: 201},
		"GET /v1/lexicon-versions/:id":           {roles: "pq", ask: lexiconPath("", ""), ok: 200},
		"GET /v1/lexicon-versions/:id/preview":   {roles: "pq", scope: wholeSite, ask: lexiconPath("/preview", ""), ok: 200},
		"POST /v1/lexicon-versions/:id/publish":  {roles: "pq", scope: wholeSite, ask: lexiconPath("/publish", reason), ok: 200},
		"POST /v1/lexicon-versions/:id/withdraw": {roles: "pq", scope: wholeSite, ask: lexiconPath("/withdraw", reason), ok: 200},

		"GET /v1/accounts": {roles: "a", ask: at("/v1/accounts"), ok: 200},
		"POST /v1/accounts": {roles: "a", ask: func(r *rig, _ string) (string, string, []string) {
			r.cases++
			return "/v1/accounts", fmt.Sprintf(`{"name":"new %d","role":"auditor"}`, r.cases), nil
		}, ok: 201},
		"POST /v1/accounts/:id/disable":       {roles: "a", ask: accountPath("/disable", reason), ok: 204},
		"POST /v1/accounts/:id/tokens":        {roles: "a", ask: accountPath("/tokens", `{"purpose":"test","days":1}`), ok: 201},
		"POST /v1/accounts/:id/password-link": {roles: "a", ask: accountPath("/password-link", ""), ok: 201},
		"GET /v1/tokens":                      {roles: "a", ask: at("/v1/tokens"), ok: 200},
		"POST /v1/tokens/:id/revoke": {roles: "a", ask: func(r *rig, _ string) (string, string, []string) {
			r.account(access.Auditor, nil)
			all, err := r.db.Tokens(context.Background())
			require.NoError(r.t, err)
			for _, one := range all {
				if one.Account.Name == fmt.Sprintf("auditor %d", r.cases) {
					return "/v1/tokens/" + one.ID + "/revoke", reason, nil
				}
			}
			return "", "", nil
		}, ok: 204},
		"GET /v1/audit":              {roles: "u", ask: at("/v1/audit"), ok: 200},
		"GET /v1/audit/verification": {roles: "u", ask: at("/v1/audit/verification"), ok: 200},
	}
}

// devicePath makes a device that was seen in the room; the path may hold its id.
func devicePath(path string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		return strings.Replace(path, "%s", r.device(room), 1), "", nil
	}
}

func recomputationPath(rest string) func(*rig, string) (string, string, []string) {
	return func(r *rig, _ string) (string, string, []string) {
		asked, err := r.db.Recompute(context.Background(), actor, store.Recomputation{Reason: "test", From: "2030-01-01"})
		require.NoError(r.t, err)
		return "/v1/recomputations/" + asked.ID + rest, "", nil
	}
}

// rereadable makes a receipt that may be read again, and takes the job that asking for it makes.
func rereadable(r *rig, _ string) (string, string, []string) {
	for {
		j, err := r.db.Lease(context.Background(), "test", time.Minute)
		if err != nil {
			break
		}
		require.NoError(r.t, r.db.Finish(context.Background(), j))
	}
	return "/v1/quarantine/" + r.receipt("other object").ID + "/reread", reason, nil
}

// openReview makes a report without a patient number.
func openReview(r *rig, _ string) (string, string, []string) {
	r.report(store.Identity{Sex: "M"})
	last := ""
	for {
		page, err := r.db.Reviews(context.Background(), last, 500)
		require.NoError(r.t, err)
		if len(page) == 0 {
			return "/v1/reviews/" + last + "/settle", reason, nil
		}
		last = page[len(page)-1].ID
	}
}

func listing(path string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		r.procedure(room)
		return path, "", nil
	}
}

func changeable(r *rig, room string) (string, string, []string) {
	c := r.procedure(room)
	tag, err := r.db.Tag(context.Background(), c.ID)
	require.NoError(r.t, err)
	return "/v1/procedures/" + c.ID + "/facts", `{"height_cm":171,"source":"chart","reason":"not in the report"}`, []string{"If-Match", `"` + tag + `"`}
}

// TestMatrix asks every route as every role in its own rooms, in another room, with every room, and with every token
// that must not do.
func TestMatrix(t *testing.T) {
	r := newRig(t, nil)
	rows := matrix()
	for _, more := range []map[string]expectation{followUpMatrix(), acceptanceMatrix(), fhirMatrix()} {
		for key, row := range more {
			rows[key] = row
		}
	}
	for key, row := range releaseMatrix() {
		rows[key] = row
	}
	letters := map[access.Role]string{
		access.Physicist: "p", access.Operator: "o", access.Quality: "q", access.Admin: "a", access.Auditor: "u", access.Service: "s",
	}
	require.Len(t, letters, len(access.Roles()))
	type holder struct{ scoped, everywhere, expired, revoked string }
	holders := map[access.Role]holder{}
	for _, role := range access.Roles() {
		var h holder
		// Rooms are given to the roles that take none as well: the rule must not hang on that.
		h.scoped, _ = r.account(role, []string{own})
		var a store.Account
		h.everywhere, a = r.account(role, nil)
		h.expired = r.token(a, -time.Second).Text
		h.revoked = r.revoked(a)
		holders[role] = h
	}
	asked := 0
	for _, route := range r.server.Routes() {
		key := route.Method + " " + route.Path
		want, known := rows[key]
		require.True(t, known, "%s is missing from the matrix", key)
		delete(rows, key)
		ask := func(token, room string) answer {
			asked++
			path, body, headers := want.ask(r, room)
			// Work that the request before asked for must not stand in the way of the next report.
			return r.idle(func() answer { return r.ask(route.Method, path, token, body, headers...) })
		}
		unknown := http.StatusUnauthorized
		if strings.Contains(want.roles, "-") {
			unknown = want.ok
		}
		assert.Equal(t, unknown, ask("", own).status, "%s without a token", key)
		for _, role := range access.Roles() {
			h, name := holders[role], fmt.Sprintf("%s as %s", key, role)
			allowed := strings.Contains(want.roles, letters[role])
			assert.Equal(t, unknown, ask(h.expired, own).status, "%s, expired", name)
			assert.Equal(t, unknown, ask(h.revoked, own).status, "%s, revoked", name)
			inside, outside, all := expected(want, allowed, key)
			assert.Equal(t, inside, ask(h.scoped, own).status, "%s, own room", name)
			got := ask(h.scoped, other)
			assert.Equal(t, outside, got.status, "%s, other room", name)
			if want.scope == listed {
				assert.NotContains(t, string(got.body), other, "%s, other room", name)
			}
			got = ask(h.everywhere, other)
			assert.Equal(t, all, got.status, "%s, every room", name)
			if role == access.Quality || role == access.Admin || role == access.Auditor || role == access.Service {
				for _, secret := range planted() {
					assert.NotContains(t, string(got.body), secret, "%s names a patient", name)
				}
			}
		}
	}
	assert.Empty(t, rows, "rows of the matrix without a route")
	assert.Equal(t, len(r.server.Routes())*(1+len(letters)*5), asked)
}

// expected gives the status in the own room, in another, and with every room.
func expected(want expectation, allowed bool, key string) (inside, outside, all int) {
	if key == "POST /v1/setup" {
		return 401, 401, 401 // the setup token alone
	}
	if !allowed {
		return 403, 403, 403
	}
	inside, outside, all = want.ok, want.ok, want.ok
	switch want.scope {
	case inRoom:
		outside = 404
	case wholeSite:
		inside, outside = 403, 403
	case searched:
		outside = 204
	case noScope, listed:
	}
	return inside, outside, all
}

func (r *rig) revoked(a store.Account) string {
	secret := r.token(a, time.Hour)
	kept, err := r.db.TokenByHash(context.Background(), secret.Hash)
	require.NoError(r.t, err)
	require.NoError(r.t, r.db.RevokeToken(context.Background(), actor, kept.ID, "test"))
	return secret.Text
}

// idle runs f and then ends every job that is due.
func (r *rig) idle(f func() answer) answer {
	a := f()
	for {
		j, err := r.db.Lease(context.Background(), "test", time.Minute)
		if err != nil {
			require.ErrorIs(r.t, err, store.ErrNotFound)
			return a
		}
		require.NoError(r.t, r.db.Finish(context.Background(), j))
	}
}

func TestEveryOperationHasPermissions(t *testing.T) {
	err := httpapi.CheckContractWith("eraseEverything")
	require.ErrorIs(t, err, store.ErrInvalid)
	assert.ErrorContains(t, err, "eraseEverything")
}

func TestConfigIsChecked(t *testing.T) {
	_, err := httpapi.New(httpapi.Config{BodyLimit: -1}, nil, nil)
	require.ErrorIs(t, err, store.ErrInvalid)
	for _, part := range []string{"Now", "Logger", "Fatal", "KnownClass", "Events", "Maps", "Windows", "Plans", "Papers", "Releases", "Upkeep", "negative"} {
		assert.ErrorContains(t, err, part)
	}
}
