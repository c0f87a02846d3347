package dicomio

import "fmt"

// notes collects what had to be repaired, each thing once.
type notes struct {
	list []string
	seen map[string]struct{}
}

// mostNotes bounds the list: a file wrong everywhere says so briefly.
const mostNotes = 100

func newNotes(first []string) *notes {
	return &notes{list: first, seen: map[string]struct{}{}}
}

func (n *notes) add(what string, t Tag) { n.say(fmt.Sprintf("%s at %v", what, t)) }

func (n *notes) say(text string) {
	if _, ok := n.seen[text]; ok || len(n.list) > mostNotes {
		return
	}
	if len(n.list) == mostNotes {
		text = "further repairs are not listed"
	}
	n.seen[text] = struct{}{}
	n.list = append(n.list, text)
}
