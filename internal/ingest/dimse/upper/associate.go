package upper

import (
	"encoding/binary"
	"strings"
)

// Types of item and sub-item (PS3.8 9.3.2 and 9.3.3, PS3.7 D.3.3).
const (
	itemApplication    = 0x10
	itemContextRQ      = 0x20
	itemContextAC      = 0x21
	itemAbstract       = 0x30
	itemTransfer       = 0x40
	itemUser           = 0x50
	itemMaxLength      = 0x51
	itemImplementation = 0x52
	itemRole           = 0x54
	itemVersion        = 0x55
)

const (
	titleLength     = 16
	fixedAssociate  = 68 // of A-ASSOCIATE-RQ and -AC before the items
	protocolVersion = 1
	mostTransfers   = 32 // transfer syntaxes of one context that are looked at
)

// Results of a presentation context (PS3.8 table 9-18).
const (
	contextAccepted        = 0
	contextAbstractUnknown = 3
	contextNoTransfer      = 4
)

// wireContext is a presentation context as it travels, in either direction.
type wireContext struct {
	id, result byte
	abstract   string
	transfers  []string
}

// wireRole is a role selection (PS3.7 D.3.3.4).
type wireRole struct {
	abstract string
	scu, scp bool
}

// associate is the content of A-ASSOCIATE-RQ and -AC.
type associate struct {
	version         uint16
	called, calling string
	application     string
	contexts        []wireContext
	roles           []wireRole
	maxLength       uint32 // 0 is no limit
	hasMaxLength    bool
	implementation  string
	versionName     string
}

func (a *associate) append(to []byte, kind byte) []byte {
	start := len(to)
	to = openPDU(to, kind)
	to = append(to, 0, protocolVersion, 0, 0)
	to = append(append(to, title(a.called)...), title(a.calling)...)
	to = append(to, make([]byte, 32)...)
	to = appendItem(to, itemApplication, []byte(a.application))
	for _, c := range a.contexts {
		body := []byte{c.id, 0, c.result, 0}
		item := byte(itemContextAC)
		if kind == pduAssociateRQ {
			body = appendItem(body, itemAbstract, []byte(c.abstract))
			item = itemContextRQ
		}
		for _, t := range c.transfers {
			body = appendItem(body, itemTransfer, []byte(t))
		}
		to = appendItem(to, item, body)
	}
	return closePDU(appendItem(to, itemUser, a.user()), start)
}

func (a *associate) user() []byte {
	body := appendItem(nil, itemMaxLength, binary.BigEndian.AppendUint32(nil, a.maxLength))
	body = appendItem(body, itemImplementation, []byte(a.implementation))
	for _, r := range a.roles {
		role := binary.BigEndian.AppendUint16(nil, uint16(len(r.abstract)))
		role = append(append(role, r.abstract...), flag(r.scu), flag(r.scp))
		body = appendItem(body, itemRole, role)
	}
	return appendItem(body, itemVersion, []byte(a.versionName))
}

func flag(b bool) byte {
	if b {
		return 1
	}
	return 0
}

func appendItem(to []byte, kind byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint16(append(to, kind, 0), uint16(len(body))), body...)
}

// title gives an AE title in its 16 characters.
func title(text string) []byte {
	return []byte((text + strings.Repeat(" ", titleLength))[:titleLength])
}

// eachItem hands the items of a body to a function.
func eachItem(body []byte, do func(kind byte, value []byte) error) error {
	for len(body) > 0 {
		if len(body) < 4 {
			return broken(ReasonInvalidParameter, "%d bytes where an item should begin", len(body))
		}
		kind, length := body[0], int(binary.BigEndian.Uint16(body[2:]))
		body = body[4:]
		if length > len(body) {
			return broken(ReasonInvalidParameter, "item %02X is %d bytes long, %d are left", kind, length, len(body))
		}
		if err := do(kind, body[:length]); err != nil {
			return err
		}
		body = body[length:]
	}
	return nil
}

func readAssociate(body []byte) (*associate, error) {
	if len(body) < fixedAssociate {
		return nil, broken(ReasonInvalidParameter, "A-ASSOCIATE of %d bytes", len(body))
	}
	a := &associate{
		version: binary.BigEndian.Uint16(body), called: trim(body[4:20]), calling: trim(body[20:36]),
	}
	err := eachItem(body[fixedAssociate:], func(kind byte, value []byte) error {
		switch kind {
		case itemApplication:
			a.application = trim(value)
		case itemContextRQ, itemContextAC:
			return a.readContext(value)
		case itemUser:
			return a.readUser(value)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return a, nil
}

func (a *associate) readContext(value []byte) error {
	if len(value) < 4 {
		return broken(ReasonInvalidParameter, "presentation context of %d bytes", len(value))
	}
	c := wireContext{id: value[0], result: value[2]}
	if c.id%2 == 0 {
		return broken(ReasonInvalidParameter, "presentation context %d is not odd", c.id)
	}
	for _, other := range a.contexts {
		if other.id == c.id {
			return broken(ReasonInvalidParameter, "presentation context %d twice", c.id)
		}
	}
	if len(a.contexts) == mostContexts {
		return broken(ReasonInvalidParameter, "more than %d presentation contexts", mostContexts)
	}
	err := eachItem(value[4:], func(kind byte, value []byte) error {
		switch {
		case kind == itemAbstract:
			c.abstract = trim(value)
		case kind == itemTransfer && len(c.transfers) < mostTransfers:
			c.transfers = append(c.transfers, trim(value))
		}
		return nil
	})
	a.contexts = append(a.contexts, c)
	return err
}

func (a *associate) readUser(value []byte) error {
	return eachItem(value, func(kind byte, value []byte) error {
		switch kind {
		case itemMaxLength:
			if len(value) != 4 {
				return broken(ReasonInvalidParameter, "maximum length of %d bytes", len(value))
			}
			a.maxLength, a.hasMaxLength = binary.BigEndian.Uint32(value), true
		case itemImplementation:
			a.implementation = trim(value)
		case itemVersion:
			a.versionName = trim(value)
		case itemRole:
			return a.readRole(value)
		}
		return nil
	})
}

func (a *associate) readRole(value []byte) error {
	if len(value) < 2 || len(value) != int(binary.BigEndian.Uint16(value))+4 {
		return broken(ReasonInvalidParameter, "role selection of %d bytes", len(value))
	}
	if len(a.roles) == mostContexts {
		return broken(ReasonInvalidParameter, "more than %d role selections", mostContexts)
	}
	n := len(value)
	a.roles = append(a.roles, wireRole{trim(value[2 : n-2]), value[n-2] == 1, value[n-1] == 1})
	return nil
}

func (a *associate) role(abstract string) (wireRole, bool) {
	for _, r := range a.roles {
		if r.abstract == abstract {
			return r, true
		}
	}
	return wireRole{}, false
}
