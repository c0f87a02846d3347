// Package devicefile reads device profiles from a TOML file, the form in which a physicist writes down and signs for
// what is known of each room's equipment.
//
// Every key is optional except device and from; a key that is absent keeps the stated default of an unknown device. A
// key the package does not know is an error, so that a misspelt factor never silently stays at 1.
//
// Marshal and Unmarshal are the same particulars as JSON with the same keys, without the device, the day and the signatures,
// which stand beside them where they are stored.
package devicefile

import (
	"errors"
	"fmt"
	"io"

	"github.com/BurntSushi/toml"

	"afterbeam/internal/procedure"
)

// ErrInvalid marks a profile file that cannot be used; the text names the device, the key and the expected form.
var ErrInvalid = errors.New("device profile not usable")

type file struct {
	Device []device `toml:"device"`
}

type device struct {
	Key        string `toml:"device"`
	Version    string `toml:"version"`
	From       string `toml:"from"`
	SignedBy   string `toml:"signed_by"`
	ApprovedBy string `toml:"approved_by"`
	particulars
}

// Read reads all profiles of a file. It returns ErrInvalid naming the device and key for anything it cannot use.
func Read(r io.Reader) ([]procedure.DeviceProfile, error) {
	var f file
	meta, err := toml.NewDecoder(r).Decode(&f)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return nil, fmt.Errorf("%w: unknown key %q", ErrInvalid, unknown[0].String())
	}
	if len(f.Device) == 0 {
		return nil, fmt.Errorf("%w: no [[device]] section", ErrInvalid)
	}
	profiles := make([]procedure.DeviceProfile, 0, len(f.Device))
	for i, d := range f.Device {
		p, err := d.profile()
		if err != nil {
			return nil, fmt.Errorf("%w: device %d (%q): %w", ErrInvalid, i+1, d.Key, err)
		}
		profiles = append(profiles, p)
	}
	return profiles, nil
}

func (d device) profile() (procedure.DeviceProfile, error) {
	if d.Key == "" {
		return procedure.DeviceProfile{}, errors.New("device is missing: the device observer UID, or maker|model|serial")
	}
	if err := date("from", d.From); err != nil {
		return procedure.DeviceProfile{}, err
	}
	for key, f := range map[string]*factor{"kerma_factor": d.Kerma, "kap_factor": d.KAP} {
		if f != nil && d.SignedBy == "" {
			return procedure.DeviceProfile{}, fmt.Errorf("%s is given, but signed_by is empty: no factor is applied without a signature", key)
		}
	}
	if d.ApprovedBy != "" && (d.SignedBy == "" || d.ApprovedBy == d.SignedBy) {
		return procedure.DeviceProfile{}, errors.New("approved_by wants another physicist than signed_by")
	}
	p, err := d.read()
	p.Device, p.Version, p.From, p.SignedBy, p.ApprovedBy = d.Key, d.Version, d.From, d.SignedBy, d.ApprovedBy
	return p, err
}
