package upper

import (
	"encoding/binary"
	"strings"

	"afterbeam/internal/quantity"
)

// Elements of group 0000 (PS3.7 E.1).
const (
	elLength            = 0x0000
	elAffectedClass     = 0x0002
	elRequestedClass    = 0x0003
	elField             = 0x0100
	elMessageID         = 0x0110
	elRespondedTo       = 0x0120
	elDestination       = 0x0600
	elPriority          = 0x0700
	elDataSetType       = 0x0800
	elStatus            = 0x0900
	elOffending         = 0x0901
	elComment           = 0x0902
	elErrorID           = 0x0903
	elAffectedInstance  = 0x1000
	elRequestedInstance = 0x1001
	elEvent             = 0x1002
	elAttributes        = 0x1005
	elAction            = 0x1008
	elRemaining         = 0x1020
	elCompleted         = 0x1021
	elFailed            = 0x1022
	elWarnings          = 0x1023
	elOriginatorTitle   = 0x1030
	elOriginatorID      = 0x1031
)

const (
	noDataSet  = 0x0101
	hasDataSet = 0x0001
	mostText   = 64 // of UIDs and comments
)

// text, number and list tie the elements to the fields, apart from those that every message has.
func (c *Command) text(element uint16) *string {
	switch element {
	case elAffectedClass:
		return &c.AffectedClass
	case elRequestedClass:
		return &c.RequestedClass
	case elAffectedInstance:
		return &c.AffectedInstance
	case elRequestedInstance:
		return &c.RequestedInstance
	case elDestination:
		return &c.Destination
	case elOriginatorTitle:
		return &c.OriginatorTitle
	case elComment:
		return &c.Comment
	}
	return nil
}

func (c *Command) number(element uint16) *quantity.Opt[uint16] {
	switch element {
	case elErrorID:
		return &c.ErrorID
	case elEvent:
		return &c.Event
	case elAction:
		return &c.Action
	case elRemaining:
		return &c.Remaining
	case elCompleted:
		return &c.Completed
	case elFailed:
		return &c.Failed
	case elWarnings:
		return &c.Warnings
	case elOriginatorID:
		return &c.OriginatorID
	}
	return nil
}

func (c *Command) list(element uint16) *[]uint32 {
	switch element {
	case elOffending:
		return &c.Offending
	case elAttributes:
		return &c.Attributes
	}
	return nil
}

// present gives the value of an element that some messages must have, and whether this one does.
func (c *Command) present(element uint16) (uint16, bool) {
	request := !c.Field.Response() && c.Field != CCancel
	switch element {
	case elField:
		return uint16(c.Field), true
	case elMessageID:
		return c.MessageID, request
	case elRespondedTo:
		return c.RespondedTo, !request
	case elPriority:
		return uint16(c.Priority), c.Field.prioritised()
	case elDataSetType:
		if c.HasData {
			return hasDataSet, true
		}
		return noDataSet, true
	case elStatus:
		return uint16(c.Status), c.Field.Response()
	}
	n := c.number(element)
	if n == nil {
		return 0, false
	}
	return n.Get()
}

// order is the order of the elements in a command set.
var order = [...]uint16{
	elAffectedClass, elRequestedClass, elField, elMessageID, elRespondedTo, elDestination, elPriority, elDataSetType, elStatus,
	elOffending, elComment, elErrorID, elAffectedInstance, elRequestedInstance, elEvent, elAttributes, elAction, elRemaining,
	elCompleted, elFailed, elWarnings, elOriginatorTitle, elOriginatorID,
}

// MarshalBinary writes the command set in implicit little endian, with its group length (PS3.7 6.3.1).
func (c Command) MarshalBinary() ([]byte, error) { return c.append(nil), nil }

func (c Command) append(to []byte) []byte {
	start := len(to)
	to = append(to, 0, 0, elLength, 0, 4, 0, 0, 0, 0, 0, 0, 0)
	for _, element := range order {
		if text := c.text(element); text != nil {
			to = appendText(to, element, *text)
		} else if list := c.list(element); list != nil {
			to = appendList(to, element, *list)
		} else if n, ok := c.present(element); ok {
			to = binary.LittleEndian.AppendUint16(head(to, element, 2), n)
		}
	}
	binary.LittleEndian.PutUint32(to[start+8:], uint32(len(to)-start-12))
	return to
}

func head(to []byte, element uint16, length int) []byte {
	return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint16(append(to, 0, 0), element), uint32(length))
}

func appendText(to []byte, element uint16, text string) []byte {
	if text == "" {
		return to
	}
	if element == elComment && len(text) > mostText {
		text = text[:mostText]
	}
	pad := len(text) % 2
	to = append(head(to, element, len(text)+pad), text...)
	if pad == 0 {
		return to
	}
	if element == elDestination || element == elOriginatorTitle || element == elComment {
		return append(to, ' ')
	}
	return append(to, 0) // a UID
}

func appendList(to []byte, element uint16, list []uint32) []byte {
	if len(list) == 0 {
		return to
	}
	to = head(to, element, 4*len(list))
	for _, tag := range list {
		to = binary.LittleEndian.AppendUint16(binary.LittleEndian.AppendUint16(to, uint16(tag>>16)), uint16(tag))
	}
	return to
}

// UnmarshalBinary reads a command set. Elements that are not known are skipped; the group length is not relied on.
func (c *Command) UnmarshalBinary(data []byte) error {
	*c = Command{}
	had := map[uint16]bool{}
	last := -1
	for len(data) > 0 {
		if len(data) < 8 {
			return broken(ReasonInvalidParameter, "command set ends within an element")
		}
		group, element := binary.LittleEndian.Uint16(data), binary.LittleEndian.Uint16(data[2:])
		length := binary.LittleEndian.Uint32(data[4:])
		data = data[8:]
		switch {
		case group != 0:
			return broken(ReasonInvalidParameter, "command set holds element (%04X,%04X)", group, element)
		case int(element) <= last:
			return broken(ReasonInvalidParameter, "element (0000,%04X) of a command set is out of order", element)
		case uint64(length) > uint64(len(data)):
			return broken(ReasonInvalidParameter, "element (0000,%04X) of a command set is longer than what is left", element)
		}
		last = int(element)
		had[element] = true
		if err := c.take(element, data[:length]); err != nil {
			return err
		}
		data = data[length:]
	}
	return c.check(had)
}

func (c *Command) take(element uint16, value []byte) error {
	if text := c.text(element); text != nil {
		if element == elComment && len(value) > mostText {
			value = value[:mostText]
		}
		if len(value) > mostText {
			return broken(ReasonInvalidParameter, "element (0000,%04X) of a command set is longer than %d", element, mostText)
		}
		*text = trim(value)
		return nil
	}
	if list := c.list(element); list != nil {
		for ; len(value) >= 4; value = value[4:] {
			*list = append(*list, uint32(binary.LittleEndian.Uint16(value))<<16|uint32(binary.LittleEndian.Uint16(value[2:])))
		}
		return nil
	}
	return c.takeNumber(element, value)
}

func (c *Command) takeNumber(element uint16, value []byte) error {
	optional := c.number(element)
	var to *uint16
	var dataSet uint16
	switch element {
	case elField:
		to = (*uint16)(&c.Field)
	case elMessageID:
		to = &c.MessageID
	case elRespondedTo:
		to = &c.RespondedTo
	case elPriority:
		to = (*uint16)(&c.Priority)
	case elDataSetType:
		to = &dataSet
	case elStatus:
		to = (*uint16)(&c.Status)
	default:
		if optional == nil {
			return nil
		}
	}
	if len(value) != 2 {
		if optional != nil && len(value) == 0 {
			return nil
		}
		return broken(ReasonInvalidParameter, "element (0000,%04X) of a command set wants 2 bytes, got %d", element, len(value))
	}
	n := binary.LittleEndian.Uint16(value)
	if optional != nil {
		*optional = quantity.Some(n)
		return nil
	}
	*to = n
	if element == elDataSetType {
		c.HasData = n != noDataSet
	}
	return nil
}

// trim takes the padding off a text.
func trim(value []byte) string { return strings.Trim(string(value), " \x00") }
