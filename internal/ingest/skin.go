package ingest

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/store"
)

// mostLaid bounds the work of laying a patient's procedures on one body, in irradiation events. A patient with more has the
// upper bound alone.
const mostLaid = 20_000

// ownKey stands for the case under way, whose digest is not made before its sums.
const ownKey = ""

// bench lays the procedures of a patient on one body, each set of them once.
type bench struct {
	method assessment.Method
	log    *slog.Logger
	limit  time.Duration // for one set
	kept   map[string]assessment.Kept
	done   map[string]assessment.Laid
}

// newBench reads the other cases of a patient as their newest versions have them. It is nil where that would be too much.
func (p *Pipeline) newBench(ctx context.Context, others []store.Case) (*bench, error) {
	b := &bench{method: p.Method, log: p.Log, limit: p.limit() / 5, kept: map[string]assessment.Kept{}, done: map[string]assessment.Laid{}}
	b.method.Profiles = nil
	devices := map[string]bool{}
	events := 0
	for _, c := range others {
		if c.Quality {
			continue
		}
		v, err := p.Store.Version(ctx, c.ID, c.Version)
		if err != nil {
			return nil, err
		}
		kept, err := archive.ReadProcedure(v.Body)
		if err != nil {
			// The case under way is not held up by what is wrong with another.
			p.Log.Error("a case cannot be laid on the body with others", "case", c.ID, "error", err)
			return nil, nil
		}
		if events += len(kept.Procedure.Events); events > mostLaid {
			return nil, nil
		}
		b.kept[c.Digest] = assessment.Kept{
			Earlier: assessment.Earlier{Procedure: kept.Procedure, Facts: kept.Facts}, Key: c.Digest, Value: c.PSD, Low: c.PSDLow, High: c.PSDHigh,
		}
		if err := p.addProfiles(ctx, b, c.DeviceKey, devices); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func (p *Pipeline) addProfiles(ctx context.Context, b *bench, device string, known map[string]bool) error {
	if known[device] {
		return nil
	}
	known[device] = true
	m, err := p.methodFor(ctx, device)
	b.method.Profiles = append(b.method.Profiles, m.Profiles...)
	return err
}

// take adds the case under way, with the profiles of its device where no other case has brought them.
func (b *bench) take(a assessment.Assessment, profiles []procedure.DeviceProfile, others []store.Case) {
	if b == nil {
		return
	}
	if !slices.ContainsFunc(others, func(c store.Case) bool { return c.DeviceKey == a.Procedure.DeviceKey && !c.Quality }) {
		b.method.Profiles = append(b.method.Profiles, profiles...)
	}
	b.kept[ownKey] = assessment.Kept{
		Earlier: assessment.Earlier{Procedure: a.Procedure, Facts: a.Facts}, Key: ownKey, Value: a.SkinDose.Value, Low: a.SkinDose.Low, High: a.SkinDose.High,
	}
}

// lay gives what a set of procedures left, and remembers it.
func (b *bench) lay(keys []string) (assessment.Laid, bool) {
	if b == nil {
		return assessment.Laid{}, false
	}
	keys = slices.Sorted(slices.Values(keys))
	name := strings.Join(keys, " ")
	if laid, ok := b.done[name]; ok {
		return laid, true
	}
	all := make([]assessment.Kept, len(keys))
	for i, key := range keys {
		one, ok := b.kept[key]
		if !ok {
			return assessment.Laid{}, false
		}
		all[i] = one
	}
	laid, err := guarded(b.log, b.limit, func() (assessment.Laid, error) { return b.method.Lay(all), nil })
	if err != nil {
		b.log.Error("procedures cannot be laid on one body", "procedures", len(keys), "error", err)
		return assessment.Laid{}, false
	}
	b.done[name] = laid
	return laid, true
}

// sums gives what the store keeps: the sums over the windows that end with the patient's newest day and all that was worked
// out on the way, with the digest of the case under way.
func (b *bench) sums(all []assessment.Delivered, own string) ([]store.SkinSum, error) {
	if b == nil {
		return nil, nil
	}
	newest := slices.MaxFunc(all, func(x, y assessment.Delivered) int { return cmp.Compare(x.LocalDate, y.LocalDate) }).LocalDate
	for _, days := range append(assessment.Windows(), 0) {
		if keys := assessment.Keys(all, days, newest); len(keys) > 0 {
			b.lay(keys)
		}
	}
	var kept []store.SkinSum
	for _, name := range slices.Sorted(maps.Keys(b.done)) {
		keys := strings.Split(name, " ")
		for i := range keys {
			if keys[i] == ownKey {
				keys[i] = own
			}
		}
		laid := b.done[name]
		laid.Shares = slices.Clone(laid.Shares)
		for i := range laid.Shares {
			if laid.Shares[i].Key == ownKey {
				laid.Shares[i].Key = own
			}
		}
		body, err := json.Marshal(laid)
		if err != nil {
			return nil, fmt.Errorf("write skin sum: %w", err)
		}
		kept = append(kept, store.SkinSum{Key: SkinKey(keys), Body: body, Digests: keys})
	}
	return kept, nil
}

// SkinKey names the sum over versions by their digests, in whatever order.
func SkinKey(digests []string) string {
	h := sha256.New()
	for _, d := range slices.Sorted(slices.Values(digests)) {
		_, _ = fmt.Fprintf(h, "%s\n", d) // a hash never fails
	}
	return hex.EncodeToString(h.Sum(nil))
}

// ReadSkin reads a kept sum. The keys of its shares are digests of versions.
func ReadSkin(body []byte) (assessment.Laid, error) {
	var laid assessment.Laid
	if err := json.Unmarshal(body, &laid); err != nil {
		return laid, fmt.Errorf("read skin sum: %w", err)
	}
	return laid, nil
}
