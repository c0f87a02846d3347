package table

import (
	"embed"
	"sync"

	"afterbeam/internal/wording"
)

//go:embed language/*.toml
var files embed.FS

var book = sync.OnceValue(func() wording.Book { return wording.Embedded(files) })

func (t Table) words() wording.Language { return book().In(t.Language) }
