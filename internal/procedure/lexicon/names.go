package lexicon

import (
	"slices"

	"afterbeam/internal/procedure"
)

// Names are what a procedure is called, as far as a lexicon asks: nothing in them is about the patient.
type Names struct {
	Codes                  []procedure.Code
	Description, Performed string
	Protocols              []string // each once, sorted
}

// NamesOf gives what a procedure is called.
func NamesOf(p procedure.Procedure) Names {
	n := Names{Codes: p.Study.ProcedureCodes, Description: p.Study.Description, Performed: p.Study.Performed}
	for _, e := range p.Events {
		if e.Protocol != "" && !slices.Contains(n.Protocols, e.Protocol) {
			n.Protocols = append(n.Protocols, e.Protocol)
		}
	}
	slices.Sort(n.Protocols)
	return n
}

// Descriptions gives the descriptions that are there, each once.
func (n Names) Descriptions() []string {
	var all []string
	for _, d := range []string{n.Description, n.Performed} {
		if d != "" && !slices.Contains(all, d) {
			all = append(all, d)
		}
	}
	return all
}

// Rows gives the names that a row could be made for, without class.
func (n Names) Rows() []Row {
	var all []Row
	for _, code := range n.Codes {
		if code.Value != "" && code.Scheme != "" {
			all = append(all, Row{Kind: KindCode, Match: code.Value + "|" + code.Scheme})
		}
	}
	for _, d := range n.Descriptions() {
		all = append(all, Row{Kind: KindDescription, Match: d})
	}
	for _, p := range n.Protocols {
		all = append(all, Row{Kind: KindProtocol, Match: p})
	}
	return slices.DeleteFunc(all, func(r Row) bool { return !Nameable(r.Match) })
}
