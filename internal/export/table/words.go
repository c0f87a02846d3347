package table

import (
	"embed"
	"io/fs"
	"sync"

	"afterbeam/internal/wording"
)

//go:embed language/*.toml
var files embed.FS

var book = sync.OnceValue(func() wording.Book {
	folder, err := fs.Sub(files, "language")
	if err == nil {
		var b wording.Book
		if b, err = wording.Load(folder); err == nil {
			return b
		}
	}
	panic("table: embedded words: " + err.Error()) // a broken build, seen by the first test
})

func (t Table) words() wording.Language { return book().In(t.Language) }
