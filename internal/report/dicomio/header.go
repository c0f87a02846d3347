package dicomio

import "github.com/suyashkumar/dicom/pkg/tag"

// ReadHeader is Read without the content tree of a structured report and without digests: it passes the same guard and
// costs a small part of the time and memory.
func ReadHeader(data []byte, lim Limits) (DataSet, error) {
	env, err := openEnvelope(data, lim)
	if err != nil {
		return nil, err
	}
	found, err := inspect(newWalker(env.body, env.bodyFrom, env.dialect, lim))
	if err != nil {
		return nil, err
	}
	n := newNotes(nil)
	b := newBuilder(newWalker(env.body, env.bodyFrom, env.dialect, lim), found.large, n)
	b.headerOnly = true
	return b.dataSet(newCharset(nil, n))
}

// skip passes over a sequence whose header was just met.
func (b *builder) skip() error {
	for depth := 1; depth > 0; {
		tok, err := b.w.next()
		if err != nil {
			return err
		}
		switch tok.event {
		case eventSequence, eventItem:
			depth++
		case eventSequenceEnd, eventItemEnd:
			depth--
		case eventElement, eventEnd: // an end inside a sequence was refused by the guard
		}
	}
	return nil
}

// Named gives the tag and the VR of a standard attribute by its keyword (PS3.6), such as StudyInstanceUID.
func Named(keyword string) (t Tag, vr string, ok bool) {
	info, err := tag.FindByKeyword(keyword)
	if err != nil || keyword == "" {
		return 0, "", false
	}
	t = Tag(info.Tag.Group)<<16 | Tag(info.Tag.Element)
	return t, VROf(t), true
}

// VROf gives the VR of a standard attribute, UN for one that the dictionary does not know.
func VROf(t Tag) string {
	r, _ := dictionaryVR(t)
	return r.name
}

// Keyword gives the keyword of a standard attribute, "" for one that the dictionary does not know.
func Keyword(t Tag) string {
	if t.Private() {
		return ""
	}
	info, err := tag.Find(tag.Tag{Group: t.Group(), Element: t.Number()})
	if err != nil {
		return ""
	}
	return info.Keyword
}
