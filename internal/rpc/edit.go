package rpc

import (
	"slices"
	"strconv"
	"strings"

	"go.einride.tech/aip/fieldmask"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"stillroom/internal/fault"
)

// etag is the version of a resource as callers see it.
func etag(version int64) string { return "v" + strconv.FormatInt(version, 10) }

// checkEtag fails with a Conflict when the caller's etag is not the current one;
// no etag guards nothing.
func checkEtag(given string, version int64) error {
	if given == "" || given == etag(version) {
		return nil
	}
	return fault.New(fault.Conflict, "etag %q is not current: somebody else changed this meanwhile; read it again and repeat the change",
		fault.Shorten(given))
}

// merge copies the fields named by the mask from an update's resource into the
// current one and validates the outcome. Without a mask it copies every set field
// among those that may change. field is the resource's field in the request.
func (b *backend) merge(field string, current, update proto.Message, mask *fieldmaskpb.FieldMask, changeable ...string) error {
	paths := mask.GetPaths()
	if len(paths) == 0 {
		m := update.ProtoReflect()
		for _, path := range changeable {
			if m.Has(m.Descriptor().Fields().ByTextName(path)) {
				paths = append(paths, path)
			}
		}
		mask = &fieldmaskpb.FieldMask{Paths: paths}
	} else if slices.Equal(paths, []string{"*"}) {
		mask = &fieldmaskpb.FieldMask{Paths: changeable}
	}
	var c fault.Collector
	for _, path := range mask.GetPaths() {
		root, _, _ := strings.Cut(path, ".")
		if !slices.Contains(changeable, root) {
			c.Add("update_mask", path, "cannot be changed", "name some of: "+strings.Join(changeable, ", "))
		}
	}
	if err := fieldmask.Validate(mask, update); err != nil && c.Len() == 0 {
		c.Add("update_mask", strings.Join(mask.GetPaths(), ","), "names a field that does not exist", "name some of: "+strings.Join(changeable, ", "))
	}
	if err := c.Err(); err != nil {
		return err
	}
	if len(mask.GetPaths()) > 0 {
		fieldmask.Update(mask, current, update)
	}
	return violations(field+".", b.validator.Validate(current))
}
