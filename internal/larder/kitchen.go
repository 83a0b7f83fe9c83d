package larder

import (
	"time"

	"cruet/internal/chem"
)

// Kitchen is what the maker set once: names and habits, no measurements.
type Kitchen struct {
	Name      string `json:"name"`
	MakerLine string `json:"maker_line,omitempty"` // on bottles: who to ask
	TimeZone  string `json:"time_zone"`            // IANA name; empty: the machine's
	Market    string `json:"market,omitempty"`     // whose rules the verdicts follow; see package verdict
	USUnits   bool   `json:"us_units,omitempty"`   // shown units; inside it is always SI
	Address   string `json:"address,omitempty"`    // HOST:PORT that labels encode
	// MakerAddress is the maker's postal address on bottles; PublicAddress is
	// where published pages of bottles are found, empty when nowhere.
	MakerAddress  string `json:"maker_address,omitempty"`
	PublicAddress string `json:"public_address,omitempty"`
}

// Units is the system that the pages show.
func (k Kitchen) Units() chem.System {
	if k.USUnits {
		return chem.US
	}
	return chem.Metric
}

// Location is the kitchen's time zone, or the machine's when it has none.
func (k Kitchen) Location() *time.Location {
	if loc, err := time.LoadLocation(k.TimeZone); err == nil && k.TimeZone != "" {
		return loc
	}
	return time.Local
}

// Check says all that is wrong with k.
func (k Kitchen) Check() error {
	var p Problems
	checkText(&p, "name", "The kitchen's name", k.Name, MaxNameRunes, true)
	checkText(&p, "maker_line", "The maker's line", k.MakerLine, MaxNameRunes, false)
	checkText(&p, "maker_address", "The maker's address", k.MakerAddress, MaxSupplierRunes, false)
	checkPublicAddress(&p, k.PublicAddress)
	if k.TimeZone != "" {
		if _, err := time.LoadLocation(k.TimeZone); err != nil {
			p.Add("time_zone", "There is no time zone "+k.TimeZone+". Write it like Europe/Dublin.")
		}
	}
	return p.Err()
}
