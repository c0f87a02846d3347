// Package help is what the program tells people about its use: a tour, and a page for each kind of user, in several languages.
package help

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
)

//go:embed pages/*.md
var pages embed.FS

// ErrTopic marks a topic or a language that there is no page for.
var ErrTopic = errors.New("no such page")

// Topics lists the pages in their order.
func Topics() []string { return []string{"tour", "operator", "physicist", "quality", "it"} }

// Page gives a page as Markdown. It returns ErrTopic.
func Page(topic, language string) (string, error) {
	text, err := fs.ReadFile(pages, "pages/"+topic+"."+language+".md")
	if err != nil {
		return "", fmt.Errorf("%w: %s in %s", ErrTopic, topic, language)
	}
	return string(text), nil
}
