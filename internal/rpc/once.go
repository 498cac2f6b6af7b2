package rpc

import (
	"context"
	"crypto/sha256"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	"stillroom/internal/fault"
	"stillroom/internal/store"
)

// creation is a request that may be sent again with the same request_id.
type creation interface {
	proto.Message
	GetRequestId() string
}

// once runs do unless this request_id was served before; then it returns the
// first result. The result is stored in the caller's transaction, so that what was
// done and what was answered are kept together or not at all. Using one
// request_id for two different requests is an error.
func once[R proto.Message](ctx context.Context, tx *store.Tx, req creation, do func() (R, error)) (R, error) {
	var none R
	if req.GetRequestId() == "" {
		return do()
	}
	id, err := uuid.Parse(req.GetRequestId())
	if err != nil {
		return none, fault.Field("request_id", req.GetRequestId(), "is not a UUID", "give a fresh UUID for every new request")
	}
	wire, err := proto.MarshalOptions{Deterministic: true}.Marshal(req)
	if err != nil {
		return none, err
	}
	fingerprint := sha256.Sum256(wire)
	method := string(req.ProtoReflect().Descriptor().FullName())
	prior, served, err := tx.BeginRequest(ctx, id, method, fingerprint[:])
	if err != nil {
		return none, err
	}
	if served {
		first := none.ProtoReflect().New().Interface().(R)
		if err := proto.Unmarshal(prior, first); err != nil {
			return none, err
		}
		return first, nil
	}
	result, err := do()
	if err != nil {
		return none, err
	}
	answer, err := proto.Marshal(result)
	if err != nil {
		return none, err
	}
	return result, tx.FinishRequest(ctx, id, store.Reply{Type: string(result.ProtoReflect().Descriptor().FullName()), Wire: answer})
}
