package dicomio

import "strings"

// words keeps texts that repeat, such as code values, once, and cuts small slices from large ones.
type words struct {
	seen  map[string]string
	chunk []string
}

const (
	longestWord = 48
	mostWords   = 8192
	wordChunk   = 1024
)

func newWords() words { return words{seen: map[string]string{}} }

func (w *words) keep(s string) string {
	if len(s) > longestWord {
		return strings.Clone(s)
	}
	if k, ok := w.seen[s]; ok {
		return k
	}
	s = strings.Clone(s)
	if len(w.seen) < mostWords {
		w.seen[s] = s
	}
	return s
}

// slice gives n strings that nothing else uses.
func (w *words) slice(n int) []string {
	if n > wordChunk/8 {
		return make([]string, n)
	}
	if len(w.chunk) < n {
		w.chunk = make([]string, wordChunk)
	}
	s := w.chunk[:n:n]
	w.chunk = w.chunk[n:]
	return s
}

// texts splits a decoded text by the rules of its VR and trims its padding.
func (w *words) texts(s string, vr representation) []string {
	if vr.kind == kindText {
		if s = strings.TrimRight(s, " \x00"); s == "" {
			return nil
		}
		out := w.slice(1)
		out[0] = w.keep(s)
		return out
	}
	n := strings.Count(s, "\\") + 1
	if n == 1 {
		if s = strings.Trim(s, " \x00"); s == "" {
			return nil
		}
		out := w.slice(1)
		out[0] = w.keep(s)
		return out
	}
	out := w.slice(n)
	for i := range out {
		var one string
		one, s, _ = strings.Cut(s, "\\")
		out[i] = w.keep(strings.Trim(one, " \x00"))
	}
	return out
}
