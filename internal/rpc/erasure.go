package rpc

import (
	"context"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/kitchen"
	"stillroom/internal/store"
)

func (s *rosterService) ExportParticipantData(ctx context.Context, req *stillroomv1.ExportParticipantDataRequest) (*stillroomv1.ExportParticipantDataResponse, error) {
	var k, id string
	if err := parseName("name", req.GetName(), participantPattern, &k, &id); err != nil {
		return nil, err
	}
	out := &stillroomv1.ExportParticipantDataResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		held, err := tx.HeldAbout(ctx, id, req.GetName())
		if err != nil {
			return err
		}
		out.Participant = encodeParticipant(k, held.Participant)
		for _, e := range held.Enrolments {
			out.Enrolments = append(out.Enrolments, encodeEnrolment(k, e))
		}
		for _, q := range held.Questions {
			out.Questions = append(out.Questions, s.queue.encode(k, q, id))
		}
		for _, q := range held.Endorsed {
			out.EndorsedQuestions = append(out.EndorsedQuestions, nameOf(questionPattern, k, q))
		}
		for _, t := range held.Tokens {
			out.Tokens = append(out.Tokens, encodeBearer(k, t))
		}
		for _, c := range held.Seals {
			told, err := encodeSealChecks(ctx, tx, k, c.Class, []kitchen.SealCheck{c}, s.now())
			if err != nil {
				return err
			}
			out.SealChecks = append(out.SealChecks, told...)
		}
		for _, e := range held.Record {
			out.AuditEntries = append(out.AuditEntries, encodeEntry(e))
		}
		return nil
	})
	return out, err
}

func (s *rosterService) EraseParticipant(ctx context.Context, req *stillroomv1.EraseParticipantRequest) (*stillroomv1.EraseParticipantResponse, error) {
	var k, id string
	if err := parseName("name", req.GetName(), participantPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.EraseParticipantResponse
	err := s.queue.write(ctx, k, func(tx *store.Tx) (err error) {
		out, err = once(ctx, tx, req, func() (*stillroomv1.EraseParticipantResponse, error) {
			person, err := tx.Participant(ctx, id)
			if err != nil {
				return nil, err
			}
			if err := checkEtag(req.GetEtag(), person.Version); err != nil {
				return nil, err
			}
			erased, err := tx.EraseParticipant(ctx, nameOf(kitchenPattern, k), id, s.now(), forgetReply)
			if err != nil {
				return nil, err
			}
			answer := &stillroomv1.EraseParticipantResponse{
				Participant: encodeParticipant(k, erased.Participant), TokensRevoked: int32(erased.TokensRevoked),
			}
			for _, e := range erased.Cancelled {
				answer.Cancelled = append(answer.Cancelled, encodeEnrolment(k, e))
			}
			for _, e := range erased.Promoted {
				answer.Promoted = append(answer.Promoted, encodeEnrolment(k, e))
			}
			return answer, nil
		})
		return err
	})
	return out, err
}

// replyTo is what one of our requests is answered with; empty when no method takes it.
func replyTo(request string) (reply protoreflect.FullName) {
	protoregistry.GlobalFiles.RangeFilesByPackage(protoreflect.FullName(strings.TrimSuffix(ourPackage, ".")), func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				if m := methods.Get(j); string(m.Input().FullName()) == request {
					reply = m.Output().FullName()
				}
			}
		}
		return reply == ""
	})
	return reply
}

// forgetReply takes a person out of the stored reply to a request. Of one that can no
// longer be read nothing is kept.
func forgetReply(request string, r store.Reply, o store.Oblivion) (store.Reply, error) {
	name := protoreflect.FullName(r.Type)
	if name == "" {
		name = replyTo(request)
	}
	none := store.Reply{Type: string(name), Wire: []byte{}}
	t, err := protoregistry.GlobalTypes.FindMessageByName(name)
	if err != nil {
		return none, nil //nolint:nilerr // the message is no more
	}
	reply := t.New()
	if err := proto.Unmarshal(r.Wire, reply.Interface()); err != nil {
		return none, nil //nolint:nilerr // the message has changed
	}
	forget(reply, o)
	r.Wire, err = proto.Marshal(reply.Interface())
	return r, err
}

// forget takes a person out of a message. What names the person as a resource is about
// them, and holds their name and contact in fields known by theirs.
func forget(m protoreflect.Message, o store.Oblivion) {
	about := false
	m.SetUnknown(nil) // who knows what it says
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		about = about || f.Kind() == protoreflect.StringKind && !f.IsList() && !f.IsMap() && v.String() == o.Resource
		return true
	})
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
			if f.MapValue().Kind() == protoreflect.MessageKind {
				v.Map().Range(func(_ protoreflect.MapKey, e protoreflect.Value) bool { forget(e.Message(), o); return true })
			}
		case f.Kind() == protoreflect.MessageKind && f.IsList():
			for i := range v.List().Len() {
				forget(v.List().Get(i).Message(), o)
			}
		case f.Kind() == protoreflect.MessageKind:
			if about && f.Name() == "home_altitude" {
				m.Clear(f)
				return true
			}
			forget(v.Message(), o)
		case f.Kind() == protoreflect.StringKind && f.IsList():
			for i := range v.List().Len() {
				v.List().Set(i, protoreflect.ValueOfString(forgetText(v.List().Get(i).String(), o)))
			}
		case f.Kind() == protoreflect.StringKind && about && strings.HasSuffix(string(f.Name()), "display_name"):
			m.Set(f, protoreflect.ValueOfString(kitchen.ErasedName))
		case f.Kind() == protoreflect.StringKind && about && (f.Name() == "email" || f.Name() == "phone" || f.Name() == "allergies"):
			m.Clear(f)
		case f.Kind() == protoreflect.StringKind:
			m.Set(f, protoreflect.ValueOfString(forgetText(v.String(), o)))
		}
		return true
	})
}

func forgetText(text string, o store.Oblivion) string {
	if renamed, ok := o.Renamed[text]; ok {
		return renamed
	}
	return o.Traces.Scrub(text)
}
