package web

import (
	"net/http"
	"slices"

	"afterbeam/internal/httpapi"
)

// checkData is the form of a check of a device by known exposures.
type checkData struct {
	ID, Called string
	Typed      typed
	Wrong      string
}

func (v *view) deviceCheck(wrong string) (checkData, error) {
	one, err := ask[httpapi.DeviceDetail](v, http.MethodGet, "/v1/devices/"+escape(v.param("id")), nil)
	return checkData{ID: v.param("id"), Called: called(one.Device), Typed: v.typed(), Wrong: wrong}, err
}

// checkDevice works out what a report of known exposures shows, and leads to its sheet.
func checkDevice(v *view) (any, error) {
	id := escape(v.param("id"))
	body := httpapi.DeviceCheckRequest{Form: v.form("form"), Reason: v.text("reason"), ReportUid: v.text("report")}
	check, err := ask[httpapi.DeviceCheck](v, http.MethodPost, "/v1/devices/"+id+"/checks", body)
	return v.answered(err, "/devices/"+id+"/checks/"+check.Id+"?done=device-checked", func(wrong string) (any, error) { return v.deviceCheck(wrong) })
}

// sheetData is the sheet of a check, to print and sign.
type sheetData struct {
	httpapi.DeviceCheck
	ID, Called string
	Sheet      string
}

func showSheet(v *view) (any, error) {
	id := escape(v.param("id"))
	one, err := ask[httpapi.DeviceDetail](v, http.MethodGet, "/v1/devices/"+id, nil)
	if err != nil {
		return nil, err
	}
	list, err := ask[httpapi.DeviceCheckList](v, http.MethodGet, "/v1/devices/"+id+"/checks", nil)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(list.Checks, func(c httpapi.DeviceCheck) bool { return c.Id == v.param("check") })
	if i < 0 {
		return nil, &failure{status: http.StatusNotFound}
	}
	a, err := v.call(http.MethodGet, "/v1/devices/"+id+"/checks/"+escape(v.param("check"))+"/sheet?format=text", nil)
	return sheetData{DeviceCheck: list.Checks[i], ID: v.param("id"), Called: called(one.Device), Sheet: string(a.Body)}, err
}
