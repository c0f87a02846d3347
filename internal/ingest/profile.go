package ingest

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// method is a method as a site has it now.
type method struct {
	assessment.Method
	words int // version of the lexicon, 0 for the table of the settings
}

// methodFor gives the method with the signed profiles of a device, the levels that were approved last and the lexicon that was
// published last. They are read for each study, so that a profile holds from the moment it is signed, a level from the moment it
// is approved, and a word from the moment it is published.
func (p *Pipeline) methodFor(ctx context.Context, device string) (method, error) {
	m := method{Method: p.Method}
	m.Profiles = nil
	signed, err := p.Store.SignedProfiles(ctx, device)
	if err != nil {
		return m, err
	}
	for _, one := range signed {
		profile, err := ProfileOf(device, one)
		if err != nil {
			return m, err
		}
		m.Profiles = append(m.Profiles, profile)
	}
	approved, is, err := p.Store.LevelsInForce(ctx)
	if err != nil {
		return m, err
	}
	if is {
		m.Levels = approved
	}
	var rows []lexicon.Row
	if m.words, rows, err = p.Store.LexiconInForce(ctx); err != nil {
		return m, err
	}
	m.Lexicon, err = p.Method.Lexicon.Over(rows)
	return m, err
}

// ProfileOf reads a stored profile of the device of a key.
func ProfileOf(device string, stored store.Profile) (procedure.DeviceProfile, error) {
	p, err := devicefile.Unmarshal(stored.Body)
	if err != nil {
		return p, fmt.Errorf("profile version %d: %w", stored.Version, err)
	}
	p.Device, p.Version, p.From = device, strconv.Itoa(stored.Version), stored.From
	switch {
	case stored.State != store.ProfileSigned:
	case stored.Drafter == "": // a file that names nobody: who signed here answers alone
		p.SignedBy = stored.Signer
	default:
		p.SignedBy, p.ApprovedBy = stored.Drafter, stored.Signer
	}
	return p, nil
}

// StoredProfile gives the form in which the store keeps a profile that somebody wrote.
func StoredProfile(p procedure.DeviceProfile, reason string) (store.Profile, error) {
	body, err := devicefile.Marshal(p)
	return store.Profile{From: p.From, Drafter: p.SignedBy, Body: body, Reason: reason}, err
}

// profileMark stands between the methods of a version and the name of the device profile that it was made with, lexiconMark
// before the version of the lexicon, where that is not the table of the settings.
const (
	profileMark = " device profile:"
	lexiconMark = " lexicon version:"
)

// versionOf names the version of a lexicon in the methods.
func versionOf(words int) string {
	if words == 0 {
		return ""
	}
	return lexiconMark + strconv.Itoa(words)
}

// profileName names the content of a profile, so that a version says which one it was made with.
func profileName(p procedure.DeviceProfile) string {
	if p.Device == "" {
		return "none"
	}
	body, err := devicefile.Marshal(p)
	if err != nil {
		body = nil // a profile that came out of the store was written by the same function
	}
	h := sha256.New()
	for _, part := range []string{p.Device, p.From, p.SignedBy, p.ApprovedBy, string(body)} {
		_, _ = fmt.Fprintf(h, "%d:%s", len(part), part) // a hash never fails
	}
	return hex.EncodeToString(h.Sum(nil)[:6])
}

// methodsOf parts what a version says of its methods from the version of the lexicon and the name of its device profile.
func methodsOf(text string) (methods, words, profile string) {
	methods, profile, _ = strings.Cut(text, profileMark)
	methods, words, _ = strings.Cut(methods, lexiconMark)
	return methods, cmp.Or(words, "0"), profile
}
