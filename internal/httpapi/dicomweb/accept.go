package dicomweb

import (
	"mime"
	"net/http"
	"strconv"
	"strings"

	"afterbeam/internal/export/dicommodel"
)

// The media types beside those of the DICOM models.
const (
	mediaDICOM   = "application/dicom"
	mediaRelated = "multipart/related"
)

// offer is one way in which an answer can be given: a media type, or multipart/related of parts of it.
type offer struct {
	media string
	parts bool
}

func (o offer) String() string {
	if o.parts {
		return mediaRelated + `; type="` + o.media + `"`
	}
	return o.media
}

// What the services offer, the default first.
func storeOffers() []offer {
	return []offer{{media: dicommodel.MediaType}, {media: dicommodel.XMLMediaType}}
}

func modelOffers() []offer {
	return []offer{{media: dicommodel.MediaType}, {media: dicommodel.XMLMediaType, parts: true}}
}

func objectOffers(one bool) []offer {
	all := []offer{{media: mediaDICOM, parts: true}}
	if one {
		all = append(all, offer{media: mediaDICOM})
	}
	return all
}

// wish is one media range of an Accept header.
type wish struct {
	media, kind string // kind is the parameter type of multipart/related
	syntax      string // the parameter transfer-syntax
	quality     float64
}

// wishes reads the Accept headers; none is a wish for anything. What is not well formed is not a wish.
func wishes(h http.Header) []wish {
	text := strings.Join(h.Values("Accept"), ",")
	if strings.TrimSpace(text) == "" {
		return []wish{{media: "*/*", quality: 1}}
	}
	var all []wish
	for _, one := range splitQuoted(text) {
		media, params, err := mime.ParseMediaType(one)
		if err != nil {
			continue
		}
		w := wish{media: media, kind: strings.ToLower(params["type"]), syntax: params["transfer-syntax"], quality: 1}
		if q, ok := params["q"]; ok {
			if w.quality, err = strconv.ParseFloat(q, 64); err != nil || !(w.quality >= 0 && w.quality <= 1) {
				continue
			}
		}
		all = append(all, w)
	}
	return all
}

// splitQuoted splits a list at the commas that stand outside of quotes.
func splitQuoted(text string) []string {
	var all []string
	quoted, escaped, from := false, false, 0
	for i, c := range []byte(text) {
		switch {
		case escaped:
			escaped = false
		case quoted && c == '\\':
			escaped = true
		case c == '"':
			quoted = !quoted
		case c == ',' && !quoted:
			all = append(all, text[from:i])
			from = i + 1
		}
	}
	return append(all, text[from:])
}

// fits tells how closely a wish names an offer: 0 is not at all.
func (w wish) fits(o offer) int {
	media := o.media
	if o.parts {
		media = mediaRelated
		if w.media == mediaRelated && w.kind != "" && w.kind != o.media {
			return 0
		}
	}
	main, _, _ := strings.Cut(media, "/")
	switch w.media {
	case media:
		return 3
	case main + "/*":
		return 2
	case "*/*":
		return 1
	}
	return 0
}

// choose gives the best offer for the wishes of a request (RFC 9110, 12.5.1) and the transfer syntax that was wished
// with it, "" for any. Among equals it is the first.
func choose(h http.Header, offers []offer) (offer, string, error) {
	best, quality, syntax := offer{}, 0.0, ""
	all := wishes(h)
	for _, o := range offers {
		closest, own := 0, wish{}
		for _, w := range all {
			if n := w.fits(o); n > closest || n == closest && n > 0 && w.quality > own.quality {
				closest, own = n, w
			}
		}
		if closest > 0 && own.quality > quality {
			best, quality, syntax = o, own.quality, own.syntax
		}
	}
	if quality > 0 {
		return best, strings.Trim(syntax, "*"), nil
	}
	names := make([]string, len(offers))
	for i, o := range offers {
		names[i] = o.String()
	}
	return best, "", refuse(ErrNotAcceptable, "this operation answers with "+strings.Join(names, " or "))
}
