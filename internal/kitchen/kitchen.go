package kitchen

import (
	"time"

	"stillroom/internal/fault"
	"stillroom/internal/measure"
)

// Kitchen is an organisation that runs classes; nothing crosses kitchens.
type Kitchen struct {
	ID          string
	DisplayName string
	// Currency is the ISO 4217 code its prices are in.
	Currency  string
	CreatedAt time.Time
	// Version rises with every edit.
	Version int64
}

// Site is a place with an altitude where jars are processed.
type Site struct {
	ID          string
	DisplayName string
	// Altitude is kept in metres as entered.
	Altitude measure.Altitude
	// TimeZone is an IANA name, "America/Denver".
	TimeZone  string
	CreatedAt time.Time
	Version   int64
}

// Location is the site's time zone, or a fault naming the field.
func (s Site) Location() (*time.Location, error) {
	if s.TimeZone == "" || s.TimeZone == "Local" {
		return nil, fault.Field("time_zone", s.TimeZone, "is not an IANA time zone", `give a name such as "America/Denver"`)
	}
	loc, err := time.LoadLocation(s.TimeZone)
	if err != nil {
		return nil, fault.Field("time_zone", s.TimeZone, "is not an IANA time zone", `give a name such as "America/Denver"`)
	}
	return loc, nil
}
