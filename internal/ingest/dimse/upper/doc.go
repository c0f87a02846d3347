// Package upper speaks the DICOM upper layer protocol (PS3.8) and the messages that travel in it (PS3.7) over any
// net.Conn, in both roles. It knows no service: who may connect, what is kept and which status is answered is decided by
// those who use it.
//
// The accepting side hands each connection to Acceptor.Accept, the requesting side calls Dial, or Request on a connection
// of its own. Both get an Association, which belongs to one goroutine and starts none:
//
//	for {
//		m, err := a.Next(ctx)       // io.EOF: the peer released, all is answered and closed
//		...
//		io.Copy(w, m.Data)          // nil when the message has no data set; what is left unread is skipped by Next
//		a.Send(m.Context.ID, m.Command.Respond(upper.Success), nil)
//	}
//
// A requestor sends a Command with a.MessageID() and calls Next for the answers until one is not Pending. On the same
// association it may get requests of the peer in between - the C-STORE sub-operations of a C-GET, an N-EVENT-REPORT - and
// tells them from answers by Command.Field. A service that answers later on a new association calls Dial with the role
// SCP in its Proposal and looks into Context.SCP whether the peer agreed (PS3.7 D.3.3.4).
//
// Every length is checked before memory is taken for it, nothing recurses, each wait has a limit (Limits), and whatever
// breaks the protocol is answered by A-ABORT and returned as ErrProtocol. When the context given to Accept, Dial or Request
// ends, the association is aborted; the context given to Next ends the waiting for a message alone. Abort may be called by
// any goroutine, everything else by the owner only.
//
// Errors carry titles, UIDs, codes and lengths, never a value of a data set.
package upper
