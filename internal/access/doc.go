// Package access decides who may do what: roles as a table of operations, tokens, and the rooms an account may see.
//
// Everything is denied that the table does not allow. The rooms of an account are turned into a filter here and nowhere
// else, so that no list or lookup can forget them.
package access
