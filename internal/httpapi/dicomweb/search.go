package dicomweb

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// column is an attribute of a result: its level, and whether it is left out where the object does not say it.
type column struct {
	tag     dicomio.Tag
	level   level
	ifKnown bool
}

// columns lists what results hold without being asked (PS3.18 tables 10.6.3-3 to 10.6.3-5), as far as it is said.
func columns() []column {
	return []column{
		{0x00080016, instanceLevel, false}, // SOP Class UID
		{0x00080018, instanceLevel, false}, // SOP Instance UID
		{0x00080020, studyLevel, false},    // Study Date
		{0x00080030, studyLevel, false},    // Study Time
		{0x00080050, studyLevel, false},    // Accession Number
		{0x00080056, studyLevel, false},    // Instance Availability
		{0x00080060, seriesLevel, false},   // Modality
		{0x00080061, studyLevel, false},    // Modalities in Study
		{0x00080090, studyLevel, false},    // Referring Physician's Name
		{0x00080201, studyLevel, true},     // Timezone Offset From UTC
		{0x0008103E, seriesLevel, true},    // Series Description
		{0x00100010, studyLevel, false},    // Patient's Name
		{0x00100020, studyLevel, false},    // Patient ID
		{0x00100021, studyLevel, true},     // Issuer of Patient ID
		{0x00100030, studyLevel, false},    // Patient's Birth Date
		{0x00100040, studyLevel, false},    // Patient's Sex
		{0x0020000D, studyLevel, false},    // Study Instance UID
		{0x0020000E, seriesLevel, false},   // Series Instance UID
		{0x00200010, studyLevel, false},    // Study ID
		{0x00200011, seriesLevel, false},   // Series Number
		{0x00200013, instanceLevel, false}, // Instance Number
		{0x00400244, seriesLevel, true},    // Performed Procedure Step Start Date
		{0x00400245, seriesLevel, true},    // Performed Procedure Step Start Time
		{0x00400275, seriesLevel, true},    // Request Attributes Sequence
	}
}

// search is the Search transaction (PS3.18, 10.6) at a level.
func (o *Origin) search(l level) func(http.ResponseWriter, *http.Request, Call) error {
	return func(w http.ResponseWriter, r *http.Request, c Call) error {
		if r.ContentLength != 0 {
			return refuse(store.ErrInvalid, "this operation takes no body")
		}
		as, _, err := choose(r.Header, modelOffers())
		if err != nil {
			return err
		}
		q, err := parseQuery(l, r.URL.RawQuery)
		if err != nil {
			return err
		}
		q.narrow(c)
		found, more, err := o.find(r.Context(), q)
		if err != nil {
			return err
		}
		if err := o.cfg.Store.Viewed(r.Context(), c.actor(), "instances.search", fmt.Sprintf("%d results", len(found)), ""); err != nil {
			return err
		}
		o.warn(w, q, more)
		if len(found) == 0 {
			w.WriteHeader(http.StatusNoContent)
			return nil
		}
		sets := make([]dicomio.DataSet, len(found))
		for i, g := range found {
			if sets[i], err = o.result(r, q, c, g); err != nil {
				return err
			}
		}
		return writeSets(w, as, each(sets))
	}
}

// narrow puts the rooms of the caller and the UIDs of the path into the query.
func (q *query) narrow(c Call) {
	q.filter.Rooms = c.Grant.Narrow(store.Filter{}).Rooms
	for _, p := range []struct {
		uid string
		to  *[]string
	}{{c.Study, &q.filter.Studies}, {c.Series, &q.filter.Series}} {
		switch {
		case p.uid == "":
		case *p.to != nil && !slices.Contains(*p.to, p.uid):
			q.nothing = true
		default:
			*p.to = []string{p.uid}
		}
	}
}

// find lists what a query finds, and tells whether there is more.
func (o *Origin) find(ctx context.Context, q query) (found []store.InstanceGroup, more bool, err error) {
	if q.nothing {
		return nil, false, nil
	}
	f := q.filter
	f.Limit++
	switch q.level {
	case studyLevel:
		found, err = o.cfg.Store.InstanceStudies(ctx, f)
	case seriesLevel:
		found, err = o.cfg.Store.InstanceSeries(ctx, f)
	case instanceLevel:
		var all []store.Instance
		all, err = o.cfg.Store.Instances(ctx, f)
		for _, i := range all {
			found = append(found, store.InstanceGroup{Instance: i, Series: 1, Instances: 1})
		}
	}
	if len(found) > q.filter.Limit {
		return found[:q.filter.Limit], true, err
	}
	return found, false, err
}

// warn sets the warnings of a search (PS3.18, 8.3.4.4 and 10.6.3).
func (o *Origin) warn(w http.ResponseWriter, q query, more bool) {
	if more {
		w.Header().Add("Warning", `299 afterbeam "There are additional results that can be requested"`)
	}
	if q.fuzzy {
		w.Header().Add("Warning", `299 afterbeam "The fuzzymatching parameter is not supported. Only literal matching has been performed."`)
	}
}

// result makes one result: what the store says, else what the object says. An object that is damaged is listed as
// unavailable with its UIDs alone.
func (o *Origin) result(r *http.Request, q query, c Call, g store.InstanceGroup) (dicomio.DataSet, error) {
	header, err := o.header(r.Context(), g.Receipt)
	if err != nil {
		return nil, err
	}
	own := dicomio.DataSet{
		text(0x00080016, "UI", g.Receipt.SOPClass),
		text(0x00080018, "UI", g.Receipt.SOPInstance),
		text(0x00080056, "CS", availability(header)),
		text(0x00080060, "CS", "SR"),
		text(0x00080061, "CS", "SR"),
		text(tagRetrieveURL, "UR", o.place(r, placeOf(q.level, g.Instance, header)...)),
		text(0x0020000D, "UI", g.Receipt.StudyUID),
	}
	switch q.level {
	case studyLevel:
		own = append(own, text(0x00201206, "IS", strconv.Itoa(g.Series)), text(0x00201208, "IS", strconv.Itoa(g.Instances)))
	case seriesLevel:
		own = append(own, text(0x00201209, "IS", strconv.Itoa(g.Instances)))
	case instanceLevel:
	}
	var d dicomio.DataSet
	for _, t := range q.attributes(c, header) {
		e, known := own.Find(t)
		if !known {
			e, known = header.Find(t)
		}
		if !known {
			e = dicomio.Element{Tag: t, VR: dicomio.VROf(t)}
		}
		d = append(d, e)
	}
	return d, nil
}

// attributes lists what a result holds, in order.
func (q query) attributes(c Call, header dicomio.DataSet) []dicomio.Tag {
	tags := append(slices.Clone(q.include), 0x00080056, tagRetrieveURL)
	switch q.level {
	case studyLevel:
		tags = append(tags, 0x00201206, 0x00201208)
	case seriesLevel:
		tags = append(tags, 0x00201209)
	case instanceLevel:
	}
	for _, col := range columns() {
		_, said := header.Find(col.tag)
		// What the path has named is not told again, but for the UID that names it.
		named := col.level == studyLevel && c.Study != "" && col.tag != 0x0020000D && q.level > studyLevel
		if col.level <= q.level && !named && (said || !col.ifKnown) {
			tags = append(tags, col.tag)
		}
	}
	if q.all {
		for _, e := range header {
			tags = append(tags, e.Tag)
		}
	}
	slices.Sort(tags)
	return slices.Compact(tags)
}

func availability(header dicomio.DataSet) string {
	if header == nil {
		return "UNAVAILABLE"
	}
	return "ONLINE"
}

// placeOf gives the UIDs of a result's URL.
func placeOf(l level, i store.Instance, header dicomio.DataSet) []string {
	series := i.SeriesUID
	if series == "" {
		series = header.Text(0x0020000E)
	}
	return []string{i.Receipt.StudyUID, series, i.Receipt.SOPInstance}[:l+1]
}

// header reads what an object says of itself without its content, nil when it is damaged.
func (o *Origin) header(ctx context.Context, k store.Receipt) (dicomio.DataSet, error) {
	release, err := o.cfg.Hold(ctx, k.Size)
	if err != nil {
		return nil, err
	}
	defer release()
	raw, err := o.cfg.Store.Raw(k.Digest)
	if err != nil {
		return nil, nil //nolint:nilerr // told as unavailable
	}
	d, err := dicomio.ReadHeader(raw, o.limits)
	if err != nil {
		return nil, nil //nolint:nilerr // not read yet, and not readable: told as unavailable
	}
	return d, nil
}
