package monthly

import (
	"context"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// fleet is what is signed for about the devices.
type fleet struct {
	meters []summary.Meter
	signed map[string][]procedure.DeviceProfile // by device key, as they come into force
}

// mobile tells whether a device was a mobile unit on a day, by the profile that held then.
func (f fleet) mobile(key, day string) bool { return inForce(f.signed[key], day).Mobile }

// inForce gives the profile that holds on a day: the newest that has begun, the zero profile without one.
func inForce(signed []procedure.DeviceProfile, day string) procedure.DeviceProfile {
	var holds procedure.DeviceProfile
	for _, p := range signed {
		if p.From <= day {
			holds = p
		}
	}
	return holds
}

// equipment reads the signed profiles and the checks of the devices that the reader sees.
func equipment(ctx context.Context, db Store, ask Ask) (fleet, error) {
	f := fleet{signed: map[string][]procedure.DeviceProfile{}}
	devices, err := db.Devices(ctx, ask.Filter.Rooms)
	if err != nil {
		return f, err
	}
	for _, d := range devices {
		kept, err := db.SignedProfiles(ctx, d.Key)
		if err != nil {
			return f, err
		}
		var signed []procedure.DeviceProfile
		for _, k := range kept {
			p, err := devicefile.Unmarshal(k.Body)
			if err != nil {
				return f, err
			}
			p.From = k.From
			signed = append(signed, p)
		}
		f.signed[d.Key] = signed
		checks, err := db.DeviceChecks(ctx, d.ID)
		if err != nil {
			return f, err
		}
		f.meters = append(f.meters, meter(d, signed, checks, ask.Period.To))
	}
	return f, nil
}

// meter gives what is known of a display at the end of a period.
func meter(d store.Device, signed []procedure.DeviceProfile, checks []store.DeviceCheck, day string) summary.Meter {
	p := inForce(signed, day)
	m := summary.Meter{Room: d.Room, Device: d.Key, DeviceName: name(d), Checked: p.Meter == procedure.MeterChecked}
	if k, ok := p.KermaFactor.Get(); ok {
		m.KermaFactor, m.KermaUncertainty, m.From, m.Until, m.Checked = quantity.Some(k.Value), quantity.Some(k.Uncertainty), k.From, k.Until, true
	}
	if k, ok := p.KAPFactor.Get(); ok {
		m.KAPFactor, m.KAPUncertainty, m.Checked = quantity.Some(k.Value), quantity.Some(k.Uncertainty), true
		if m.From == "" {
			m.From, m.Until = k.From, k.Until
		}
	}
	for _, one := range checks {
		if one.Day <= day && one.Day > m.CheckedOn {
			m.CheckedOn, m.Checked = one.Day, true
		}
	}
	return m
}

func name(d store.Device) string {
	for _, text := range []string{d.Name, d.Station, d.Model} {
		if text != "" {
			return text
		}
	}
	return d.Key
}
