package rpc

import (
	"bytes"
	"strings"

	"google.golang.org/grpc/encoding"
	encodingproto "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"stillroom/internal/fault"
)

// lenient reads messages as the library does, except that one of ours which cannot be read
// arrives empty and marked, for validate to refuse with INVALID_ARGUMENT. The library would
// answer INTERNAL, without asking any interceptor, as if the fault were the server's.
type lenient struct{ encoding.CodecV2 }

func newLenient() lenient { return lenient{encoding.GetCodecV2(encodingproto.Name)} }

// unreadable is what marks a message: a field that no message of ours has.
var unreadable = protowire.AppendString(protowire.AppendTag(nil, protowire.MaxValidNumber, protowire.BytesType), "unreadable")

// Unmarshal implements encoding.CodecV2.
func (c lenient) Unmarshal(data mem.BufferSlice, v any) error {
	err := c.CodecV2.Unmarshal(data, v)
	m, ok := v.(proto.Message)
	if err == nil || !ok || !strings.HasPrefix(string(m.ProtoReflect().Descriptor().FullName()), ourPackage) {
		return err
	}
	proto.Reset(m)
	m.ProtoReflect().SetUnknown(unreadable)
	return nil
}

// refuseUnreadable refuses a message that was marked when it arrived.
func refuseUnreadable(m proto.Message) error {
	if !bytes.Equal(m.ProtoReflect().GetUnknown(), unreadable) {
		return nil
	}
	return fault.New(fault.Invalid, "the message is no %s: its bytes are no protobuf of that type, or a text in it is not UTF-8; send what the contract declares",
		m.ProtoReflect().Descriptor().FullName())
}
