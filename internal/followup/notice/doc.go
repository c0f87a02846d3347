// Package notice says in words what became of a case, to the person who did it.
//
// A reader needs four things: Compose gives the content of a notice from an assessed case, Next decides whether there is
// something to tell beside what was told before, Render writes content as a message in a language, and Channel is what carries
// a message. Content bears no name or number of a patient. Notices inform people and decide nothing.
package notice
