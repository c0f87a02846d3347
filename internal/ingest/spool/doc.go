// Package spool is the door of a watched folder: a dose report put into it is kept, and then moved to where its answer
// stands.
//
// A file is taken once its size and time have rested, or at once when it was renamed from a name with ".part" at its end.
// Files of the folder itself alone are looked at: sub-folders, names that begin with a dot or end in ".part", links and
// anything else that is no plain file stay where they are. What was taken goes to
//
//	accepted/2026-09-14/<receipt>.dcm   kept, to be read; the receipt says what became of it, and a report that turns out to
//	                                    be of no use when it is read stands in the list of the quarantine
//	quarantine/<name>                   kept, but no usable dose report; <name>.reason.txt says why
//	refused/<name>                      not kept; <name>.reason.txt says why
//
// While the storage takes nothing, files wait in the folder. A crash between keeping and moving has the file kept again,
// which changes nothing and gives the same receipt. The folders below hold patient data as the folder itself does: what
// is in them is for the site to clear.
package spool
