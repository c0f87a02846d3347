package demo

import (
	_ "embed"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
)

//go:embed devices.toml
var deviceFile string

// ProfileFile gives the profiles of the rooms as the file that a physicist would write.
func ProfileFile() string { return deviceFile }

// Profiles gives what the centre's physicists have signed for: Hybrid 1 wholly known, Cath 2 typical, Neuro 4 with
// little, Rhythm 3 with nothing. The mobile C-arm has none. All values are invented.
func Profiles() []procedure.DeviceProfile {
	profiles, err := devicefile.Read(strings.NewReader(deviceFile))
	if err != nil {
		panic("demo: embedded devices.toml: " + err.Error()) // a broken build, seen by the first test
	}
	return profiles
}
