package rpc

import (
	"regexp"

	"go.einride.tech/aip/resourcename"

	"stillroom/internal/fault"
)

// Patterns of the resource names in this file's services.
const (
	kitchenPattern     = "kitchens/{kitchen}"
	sitePattern        = "kitchens/{kitchen}/sites/{site}"
	classPattern       = "kitchens/{kitchen}/classes/{class}"
	stationPattern     = "kitchens/{kitchen}/classes/{class}/stations/{station}"
	batchPattern       = "kitchens/{kitchen}/classes/{class}/batches/{batch}"
	participantPattern = "kitchens/{kitchen}/participants/{participant}"
	enrolmentPattern   = "kitchens/{kitchen}/classes/{class}/enrolments/{enrolment}"
	recipePattern      = "kitchens/{kitchen}/recipes/{recipe}"
	revisionPattern    = "kitchens/{kitchen}/recipes/{recipe}/revisions/{revision}"
)

// segment is what one part of a name may look like.
var segment = regexp.MustCompile(`^[a-z0-9]([a-z0-9_-]{0,61}[a-z0-9])?$`)

// parseName splits a resource name by a pattern into its variable segments.
func parseName(field, name, pattern string, segments ...*string) error {
	if err := resourcename.Sscan(name, pattern, segments...); err != nil {
		return fault.Field(field, name, "is not a name of this kind", `give a name like "`+pattern+`"`)
	}
	for _, s := range segments {
		if !segment.MatchString(*s) {
			return fault.Field(field, name, "has a part that is not lower-case letters, digits and hyphens",
				`give a name like "`+pattern+`"`)
		}
	}
	return nil
}

// within parses a name that must lie in the given kitchen.
func within(kitchen, field, name, pattern string, segments ...*string) error {
	var k string
	if err := parseName(field, name, pattern, append([]*string{&k}, segments...)...); err != nil {
		return err
	}
	if k != kitchen {
		return fault.Field(field, name, "belongs to another kitchen", `give a name under "kitchens/`+kitchen+`"`)
	}
	return nil
}

// nameOf puts a resource name together.
func nameOf(pattern string, segments ...string) string {
	return resourcename.Sprint(pattern, segments...)
}
