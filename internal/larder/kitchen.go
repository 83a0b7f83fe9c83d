package larder

import (
	"fmt"
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
	// How long a check of the base and a calibration of the meter hold, before
	// what rests on them is marked; 0 is the usual time.
	BaseMaxAgeDays         int `json:"base_max_age_days,omitempty"`
	CalibrationMaxAgeHours int `json:"calibration_max_age_hours,omitempty"`
	// What forms suggest, and begin with.
	Instruments []string         `json:"instruments,omitempty"`
	Places      []string         `json:"places,omitempty"`
	BaseName    string           `json:"base_name,omitempty"`
	BaseMolPerL chem.MolPerLitre `json:"base_mol_per_l,omitempty"` // 0: none named
	Stocks      []string         `json:"stocks,omitempty"`         // ids of the label papers offered; empty: all
	// LocalName.local is what the station announces in its network (RFC 6762);
	// empty: DefaultLocalName. NamedAddress is the HOST:PORT that labels are to
	// name instead of this machine's number. Hosts are further names under which
	// the station answers.
	LocalName    string   `json:"local_name,omitempty"`
	NamedAddress string   `json:"named_address,omitempty"`
	Hosts        []string `json:"hosts,omitempty"`
}

// The longest that a maker may let a check or a calibration hold.
const (
	longestBaseAgeDays         = 180
	longestCalibrationAgeHours = 31 * 24
)

// BaseMaxAge is how many days a check of the base holds.
func (k Kitchen) BaseMaxAge() int {
	if k.BaseMaxAgeDays == 0 {
		return chem.DefaultBaseMaxAgeDays
	}
	return k.BaseMaxAgeDays
}

// CalibrationMaxAge is how long a calibration holds.
func (k Kitchen) CalibrationMaxAge() time.Duration {
	if k.CalibrationMaxAgeHours == 0 {
		return chem.DefaultCalibrationMaxAge
	}
	return time.Duration(k.CalibrationMaxAgeHours) * time.Hour
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
	if k.BaseMaxAgeDays < 0 || k.BaseMaxAgeDays > longestBaseAgeDays {
		p.Add("base_max_age_days", fmt.Sprintf("A check of the base holds for 1 to %d days; 30 is usual.", longestBaseAgeDays))
	}
	if k.CalibrationMaxAgeHours < 0 || k.CalibrationMaxAgeHours > longestCalibrationAgeHours {
		p.Add("calibration_max_age_hours", fmt.Sprintf("A calibration holds for 1 to %d hours; 24 is usual.", longestCalibrationAgeHours))
	}
	if k.TimeZone != "" {
		if _, err := time.LoadLocation(k.TimeZone); err != nil {
			p.Add("time_zone", "There is no time zone "+k.TimeZone+". Write it like Europe/Dublin.")
		}
	}
	k.checkSettings(&p)
	return p.Err()
}
