// Package physics holds the theory by which doses are estimated; the folders below it compute them.
package physics

import _ "embed"

// Theory is THEORY.md: the numbered equations that comments cite, defaults with their sources, limits, validation. It is
// Markdown.
//
//go:embed THEORY.md
var Theory string
