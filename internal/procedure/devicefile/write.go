package devicefile

import (
	"fmt"
	"io"

	"github.com/BurntSushi/toml"

	"afterbeam/internal/procedure"
)

// Write writes profiles in the form that Read takes. One without a signature has an empty signed_by to fill in: Read
// refuses it until then, when it holds a factor.
func Write(w io.Writer, profiles []procedure.DeviceProfile) error {
	var f file
	for _, p := range profiles {
		f.Device = append(f.Device, device{
			Key: p.Device, Version: p.Version, From: p.From, SignedBy: p.SignedBy, ApprovedBy: p.ApprovedBy, particulars: particularsOf(p),
		})
	}
	if err := toml.NewEncoder(w).Encode(f); err != nil {
		return fmt.Errorf("write device profiles: %w", err)
	}
	return nil
}
