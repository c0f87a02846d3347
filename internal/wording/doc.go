// Package wording keeps what the program says to people in several languages.
//
// A user of it embeds one TOML file a language beside its own code - en.toml, de.toml - and calls Load, which refuses
// files that do not say the same things. Book.In gives one language; Language.Text fills a text, and Number, Date and
// Moment write figures as that language's readers expect them.
package wording
