package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"
)

// manyFiles is from how many files on a bar is worth its line.
const manyFiles = 20

// bar gives a progress function that draws a bar on a terminal, and draws nothing elsewhere.
func bar(to io.Writer, doing string) func(done, total int) {
	file, ok := to.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		return func(int, int) {}
	}
	return func(done, total int) {
		if total < manyFiles {
			return
		}
		const width = 40
		filled := width * done / total
		_, _ = fmt.Fprintf(to, "\r%s [%s%s] %d of %d", doing, strings.Repeat("=", filled), strings.Repeat(" ", width-filled), done, total)
		if done == total {
			_, _ = fmt.Fprint(to, "\r\x1b[K")
		}
	}
}
