package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

// form is all plain rows of one template.
type form[O any] struct {
	numbers []numberRow[O]
	codes   []codedRow[O]
	texts   []textRow[O]
}

// children groups the direct children of an item by concept, since their order means nothing (TID 10001).
func children(it item) map[procedure.Code][]item {
	out := make(map[procedure.Code][]item, len(it.items))
	for _, sub := range it.items {
		k := identity(sub.name)
		out[k] = append(out[k], sub)
	}
	return out
}

// fill reads the plain rows of a form out of the children of one item. suspicion may be nil.
func fill[O any](r *reader, f form[O], kids map[procedure.Code][]item, o *O, suspicion *procedure.Suspicion, place notebook.Place) {
	for _, row := range f.texts {
		fillText(r, row, kids[identity(row.concept)], o, place.Of(row.concept.Meaning))
	}
	for _, row := range f.codes {
		fillCode(r, row, kids[identity(row.concept)], o, place.Of(row.concept.Meaning))
	}
	for _, row := range f.numbers {
		found := kids[identity(row.concept)]
		if len(found) == 0 {
			continue
		}
		bits := fillNumber(r, row, found, o, place.Of(row.concept.Meaning))
		if suspicion != nil {
			*suspicion |= bits
		}
	}
}

func fillText[O any](r *reader, row textRow[O], found []item, o *O, at notebook.Place) {
	for i, it := range found {
		text := it.text()
		if i > 0 && text != *row.at(o) {
			r.notes.Add("repeated-concept", procedure.Reduced, at, "the concept occurs more than once with different values; the first is taken")
			continue
		}
		r.related(it, at)
		*row.at(o) = text
	}
}

func fillCode[O any](r *reader, row codedRow[O], found []item, o *O, at notebook.Place) {
	for i, it := range found {
		c := it.code()
		if i > 0 && !row.many {
			if identity(c) != identity(found[0].code()) {
				r.notes.Add("repeated-concept", procedure.Reduced, at, "the concept occurs more than once with different codes; the first is taken")
			}
			continue
		}
		r.related(it, at)
		switch {
		case c.IsZero():
			r.notes.Add("code-missing", procedure.Reduced, at, "no code value; the item is absent")
		case !row.set(o, c):
			r.notes.Addf("code-unknown", procedure.Reduced, at, "code %s of scheme %s is none of the list", shown(c.Value), shown(c.Scheme))
		}
	}
}

// fillNumber reads all items of one NUM row and gives what of it is not believed.
func fillNumber[O any](r *reader, row numberRow[O], found []item, o *O, at notebook.Place) procedure.Suspicion {
	var all []judged
	suspect := false
	for _, it := range found {
		r.related(it, at)
		for _, v := range r.numbers(it, row.measure, row.many, at) {
			suspect = suspect || v.suspect
			if v.present {
				all = append(all, v)
			}
		}
	}
	if len(all) > 1 && !row.many {
		all, suspect = single(r, row.measure, all, suspect, at)
	}
	for _, v := range all {
		row.set(o, v.value)
	}
	if suspect {
		return row.suspect
	}
	return 0
}

// single chooses one of several values of a row that may occur once.
func single(r *reader, m measure, all []judged, suspect bool, at notebook.Place) ([]judged, bool) {
	differ := false
	for _, v := range all[1:] {
		differ = differ || v.value != all[0].value
	}
	if !differ {
		r.notes.Add("repeated-concept", procedure.Note, at, "the concept occurs more than once with the same value")
		return all[:1], suspect
	}
	r.notes.Addf("repeated-concept", procedure.Suspect, at, "the concept occurs more than once with different values; %s", m.outcome())
	kept := m.largest(all)
	if !kept.present {
		return nil, suspect || kept.suspect
	}
	return []judged{kept}, true
}

// related notes a child that is not bound by the relationship its template wants; it is read all the same.
func (r *reader) related(it item, at notebook.Place) {
	if it.relation == "HAS PROPERTIES" && r.strict {
		r.notes.Add("relationship", procedure.Repaired, at, "relationship HAS PROPERTIES found, CONTAINS expected; read all the same")
	}
}
