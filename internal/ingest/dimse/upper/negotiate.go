package upper

import (
	"net"
	"slices"
)

// Context is an accepted presentation context. SCU and SCP say which role this end has; the usual is SCU for the
// requestor and SCP for the acceptor.
type Context struct {
	ID       uint8
	Abstract string
	Transfer string
	SCU, SCP bool
}

// Proposal is a presentation context to be asked for. With several transfer syntaxes the acceptor chooses one; who must
// know which it can choose proposes each separately. SCP asks for the role of the SCP beside or, without SCU, instead of
// the requestor's usual role; the zero value of both is that usual role.
type Proposal struct {
	Abstract string
	Transfer []string
	SCU, SCP bool
}

// Each proposes a class once with each transfer syntax.
func Each(abstract string, transfer ...string) []Proposal {
	var all []Proposal
	for _, t := range transfer {
		all = append(all, Proposal{Abstract: abstract, Transfer: []string{t}})
	}
	return all
}

// Offer is what an acceptor accepts of a class: transfer syntaxes, the most wanted first, and whether it also takes the
// role of the SCU when the requestor asks to be SCP.
type Offer struct {
	Transfer []string
	SCU      bool
}

// Caller is who asks for an association.
type Caller struct {
	Calling, Called string
	Remote          net.Addr
	// Implementation is the UID and version that the peer gives itself.
	Implementation, Version string
}

// agree answers a requestor's contexts, and gives those accepted from this end's view.
func (a *associate) agree(offers func(abstract string) (Offer, bool)) (answer associate, accepted []Context) {
	answer = associate{called: a.called, calling: a.calling, application: ApplicationContext}
	for _, c := range a.contexts {
		result := wireContext{id: c.id, result: contextAccepted, transfers: []string{ImplicitLittle}}
		offer, known := offers(c.abstract)
		i := slices.IndexFunc(offer.Transfer, func(t string) bool { return slices.Contains(c.transfers, t) })
		switch {
		case !known:
			result.result = contextAbstractUnknown
		case i < 0:
			result.result = contextNoTransfer
		default:
			result.transfers[0] = offer.Transfer[i]
			role, asked := a.role(c.abstract)
			if !asked {
				role.scu = true
			}
			role.scp = role.scp && offer.SCU
			accepted = append(accepted, Context{ID: c.id, Abstract: c.abstract, Transfer: offer.Transfer[i], SCU: role.scp, SCP: role.scu})
			if _, had := answer.role(c.abstract); asked && !had {
				answer.roles = append(answer.roles, wireRole{c.abstract, role.scu, role.scp})
			}
		}
		answer.contexts = append(answer.contexts, result)
	}
	return answer, accepted
}

// propose makes the request of an association.
func propose(calling, called string, proposals []Proposal) associate {
	rq := associate{called: called, calling: calling, application: ApplicationContext}
	for i, p := range proposals {
		rq.contexts = append(rq.contexts, wireContext{id: byte(2*i + 1), abstract: p.Abstract, transfers: p.Transfer})
		if _, had := rq.role(p.Abstract); p.SCP && !had {
			rq.roles = append(rq.roles, wireRole{p.Abstract, p.SCU, p.SCP})
		}
	}
	return rq
}

// agreed gives the contexts that an acceptor accepted, from the requestor's view. A context or a transfer syntax that was
// not asked for breaks the protocol.
func (a *associate) agreed(answer *associate) ([]Context, error) {
	var accepted []Context
	for _, c := range answer.contexts {
		i := slices.IndexFunc(a.contexts, func(asked wireContext) bool { return asked.id == c.id })
		if i < 0 {
			return nil, broken(ReasonInvalidParameter, "answer to presentation context %d, which was not proposed", c.id)
		}
		if c.result != contextAccepted {
			continue
		}
		asked := a.contexts[i]
		if len(c.transfers) != 1 || !slices.Contains(asked.transfers, c.transfers[0]) {
			return nil, broken(ReasonInvalidParameter, "presentation context %d accepted with a transfer syntax that was not proposed", c.id)
		}
		wanted, special := a.role(asked.abstract)
		role, answered := answer.role(asked.abstract)
		if !special || !answered {
			role, wanted = wireRole{scu: true}, wireRole{scu: true}
		}
		accepted = append(accepted, Context{
			ID: c.id, Abstract: asked.abstract, Transfer: c.transfers[0],
			SCU: role.scu && wanted.scu, SCP: role.scp && wanted.scp,
		})
	}
	return accepted, nil
}
