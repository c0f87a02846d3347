package summary

import _ "embed"

// Statistics is STATISTICS.md: the numbered equations that comments cite. It is Markdown.
//
//go:embed STATISTICS.md
var Statistics string
