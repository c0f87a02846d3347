package summary

import _ "embed"

// Statistics is STATISTICS.md: the equations that comments cite, what counts and what is withheld, sources. It is Markdown.
//
//go:embed STATISTICS.md
var Statistics string
