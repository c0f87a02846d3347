package lexicon

// Move is what names are under two lexicons.
type Move struct{ From, To Match }

// Moves gives the names to which another class or complexity belongs under after than under before, by their keys.
func Moves[K comparable](before, after *Lexicon, names map[K]Names) map[K]Move {
	moved := map[K]Move{}
	for key, n := range names {
		m := Move{From: before.Of(n), To: after.Of(n)}
		if m.From.Class.ID != m.To.Class.ID || m.From.Complexity != m.To.Complexity {
			moved[key] = m
		}
	}
	return moved
}
