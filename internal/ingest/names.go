package ingest

import (
	"context"

	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure/lexicon"
)

// namedAtOnce is how many cases get their names in one transaction: it holds the only writer for a moment.
const namedAtOnce = 100

// nameAll keeps what cases are called that a program assessed which kept no names. What cannot be read has none until it is
// estimated anew.
func (p *Pipeline) nameAll(ctx context.Context) {
	after := ""
	for ctx.Err() == nil {
		next, err := p.nameSome(ctx, after)
		if err != nil {
			if ctx.Err() == nil {
				p.failed("name cases", err)
			}
			pause(ctx, pollEvery)
			continue
		}
		if next == "" {
			return
		}
		after = next
	}
}

// nameSome names the cases that follow an id; it gives the last of them, "" when there is none.
func (p *Pipeline) nameSome(ctx context.Context, after string) (string, error) {
	versions, err := p.Store.Unnamed(ctx, after, namedAtOnce)
	if err != nil || len(versions) == 0 {
		return "", err
	}
	names := map[string]lexicon.Names{}
	for _, v := range versions {
		c, err := archive.ReadProcedure(v.Body)
		if err != nil {
			p.Log.Warn("names of a case cannot be read", "procedure", v.Case.ID, "error", err)
			continue
		}
		names[v.Case.ID] = lexicon.NamesOf(c.Procedure)
	}
	return versions[len(versions)-1].Case.ID, p.Store.KeepNames(ctx, names)
}
