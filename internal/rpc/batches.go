package rpc

import (
	"context"
	"strconv"

	"google.golang.org/protobuf/types/known/emptypb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

func (s *classService) CreateBatch(ctx context.Context, req *stillroomv1.CreateBatchRequest) (*stillroomv1.Batch, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	batch, err := decodeBatch(k, class, req.GetBatchId(), req.GetBatch())
	if err != nil {
		return nil, err
	}
	var out *stillroomv1.Batch
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.Batch, error) {
			created, err := tx.CreateBatch(ctx, batch)
			return encodeBatch(k, created), err
		})
		return err
	})
	return out, err
}

func (s *classService) GetBatch(ctx context.Context, req *stillroomv1.GetBatchRequest) (*stillroomv1.Batch, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), batchPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Batch
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		batch, err := tx.Batch(ctx, class, id)
		out = encodeBatch(k, batch)
		return err
	})
	return out, err
}

func (s *classService) ListBatches(ctx context.Context, req *stillroomv1.ListBatchesRequest) (*stillroomv1.ListBatchesResponse, error) {
	var k, class string
	if err := parseName("parent", req.GetParent(), classPattern, &k, &class); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/batches"
	var after store.BatchCursor
	if err := readPage(req.GetPageToken(), list, &after.Position, &after.Order); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListBatchesResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		if _, err := tx.Class(ctx, class); err != nil {
			return err
		}
		rows, err := tx.Batches(ctx, class, after, size+1)
		rows, more := cut(rows, size)
		for _, batch := range rows {
			out.Batches = append(out.Batches, encodeBatch(k, batch))
		}
		if more {
			last := rows[len(rows)-1]
			out.NextPageToken = nextPage(list, last.StationPosition, last.Order)
		}
		return err
	})
	return out, err
}

func (s *classService) UpdateBatch(ctx context.Context, req *stillroomv1.UpdateBatchRequest) (*stillroomv1.Batch, error) {
	var k, class, id string
	if err := parseName("batch.name", req.GetBatch().GetName(), batchPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Batch
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		batch, err := tx.Batch(ctx, class, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetBatch().GetEtag(), batch.Version); err != nil {
			return err
		}
		merged := encodeBatch(k, batch)
		if err := s.merge("batch", merged, req.GetBatch(), req.GetUpdateMask(),
			"station", "order", "recipe_revision", "jar_size", "jars", "may_split"); err != nil {
			return err
		}
		changed, err := decodeBatch(k, class, id, merged)
		if err != nil {
			return err
		}
		if changed.Order == 0 {
			changed.Order = batch.Order
		}
		changed.Version = batch.Version
		changed, err = tx.UpdateBatch(ctx, changed)
		out = encodeBatch(k, changed)
		return err
	})
	return out, err
}

func (s *classService) DeleteBatch(ctx context.Context, req *stillroomv1.DeleteBatchRequest) (*emptypb.Empty, error) {
	var k, class, id string
	if err := parseName("name", req.GetName(), batchPattern, &k, &class, &id); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.store.In(ctx, k, func(tx *store.Tx) error {
		batch, err := tx.Batch(ctx, class, id)
		if err != nil {
			return err
		}
		if err := checkEtag(req.GetEtag(), batch.Version); err != nil {
			return err
		}
		return tx.DeleteBatch(ctx, batch)
	})
}

func encodeBatch(k string, b kitchen.Batch) *stillroomv1.Batch {
	return &stillroomv1.Batch{
		Name:              nameOf(batchPattern, k, b.Class, b.ID),
		Station:           nameOf(stationPattern, k, b.Class, b.Station),
		Order:             int32(b.Order),
		RecipeRevision:    encodeRevisionRef(k, b.Revision),
		JarSize:           encodeJarSize(b.JarSize),
		Jars:              int32(b.Jars),
		MaySplit:          b.MaySplit,
		NotForShelfReason: b.NotForShelf,
		Etag:              etag(b.Version),
	}
}

// decodeBatch reads a batch of a class of kitchen k.
func decodeBatch(k, class, id string, m *stillroomv1.Batch) (kitchen.Batch, error) {
	var c fault.Collector
	b := kitchen.Batch{
		ID: id, Class: class, Order: int(m.GetOrder()), JarSize: decodeJarSize(m.GetJarSize()), Jars: int(m.GetJars()), MaySplit: m.GetMaySplit(),
	}
	var of string
	if err := within(k, "batch.station", m.GetStation(), stationPattern, &of, &b.Station); err != nil {
		c.AddErr("", err)
	} else if of != class {
		c.Add("batch.station", m.GetStation(), "is a station of another class", `give a name under "`+nameOf(classPattern, k, class)+`"`)
	}
	var err error
	b.Revision, err = decodeRevisionRef(k, "batch.recipe_revision", m.GetRecipeRevision())
	c.AddErr("", err)
	return b, c.Err()
}

func encodeRevisionRef(k string, r kitchen.RevisionRef) string {
	return nameOf(revisionPattern, k, r.Recipe, strconv.Itoa(r.Number))
}

// decodeRevisionRef reads the name of a recipe revision of kitchen k.
func decodeRevisionRef(k, field, name string) (kitchen.RevisionRef, error) {
	var ref kitchen.RevisionRef
	var number string
	if err := within(k, field, name, revisionPattern, &ref.Recipe, &number); err != nil {
		return ref, err
	}
	n, err := strconv.ParseInt(number, 10, 32)
	if err != nil || n < 1 {
		return ref, fault.Field(field, name, "does not end in a revision number", `give a name like "`+nameOf(revisionPattern, k, ref.Recipe, "1")+`"`)
	}
	ref.Number = int(n)
	return ref, nil
}
