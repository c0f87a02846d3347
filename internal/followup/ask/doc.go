// Package ask says who is asked to do what, and by when, about a case whose dose reached a level.
//
// The schedule is data: rows that tell which state of a flag, which quantity and which dose makes which ask, each with its
// source. Asks inform and remind people; none of them judges a case or a patient. A reader needs three things: Schedule.Wanted
// gives the asks of a case, Reconcile compares them with those that are there and never drops one silently, and Answer is what
// people say.
package ask
