// Package commitment answers equipment that asks whether its objects are kept for good before it deletes them (PS3.4 annex
// J, push model): the question comes by N-ACTION and is kept, the answer goes by N-EVENT-REPORT until the peer has taken
// it, over restarts.
//
// An object is committed to when its receipt is there and its bytes, read again from the disk, have their digest. The answer
// goes on an association that the service opens to the peer's address; where no address is set for a peer, on the
// association of the question, and again when the peer asks the next time.
package commitment
