package rpc

import (
	"context"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/access"
	"stillroom/internal/fault"
	"stillroom/internal/store"
)

type accessService struct {
	stillroomv1.UnimplementedAccessServiceServer
	*backend
}

const tokenPattern = "kitchens/{kitchen}/tokens/{token}"

func (s *accessService) GetCaller(ctx context.Context, _ *stillroomv1.GetCallerRequest) (*stillroomv1.Caller, error) {
	c := access.From(ctx)
	out := &stillroomv1.Caller{Role: stillroomv1.Role(c.Role), DisplayName: c.DisplayName, Subject: c.Subject}
	if !c.Until.IsZero() {
		out.ExpireTime = timestamppb.New(c.Until)
	}
	if c.Kitchen != "" {
		out.Kitchen = nameOf(kitchenPattern, c.Kitchen)
	}
	if c.Token != "" {
		out.Token = nameOf(tokenPattern, c.Kitchen, c.Token)
	}
	if c.Participant != "" {
		out.Participant = nameOf(participantPattern, c.Kitchen, c.Participant)
		out.Class = nameOf(classPattern, c.Kitchen, c.Class)
	}
	return out, nil
}

func (s *accessService) CreateToken(ctx context.Context, req *stillroomv1.CreateTokenRequest) (*stillroomv1.CreateTokenResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	token, err := s.decodeBearer(k, req.GetTokenId(), req.GetToken())
	if err != nil {
		return nil, err
	}
	secret := access.NewSecret()
	var out *stillroomv1.CreateTokenResponse
	fresh := false
	err = s.store.In(ctx, k, func(tx *store.Tx) (err error) {
		fresh = false
		// What is kept for a retry is the token without its secret.
		out, err = once(ctx, tx, req, func() (*stillroomv1.CreateTokenResponse, error) {
			created, err := tx.CreateToken(ctx, token, access.Hash(secret))
			fresh = true
			return &stillroomv1.CreateTokenResponse{Token: encodeBearer(k, created)}, err
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	if fresh {
		out.Secret = secret
	}
	return out, nil
}

func (s *accessService) GetToken(ctx context.Context, req *stillroomv1.GetTokenRequest) (*stillroomv1.Token, error) {
	var k, id string
	if err := parseName("name", req.GetName(), tokenPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Token
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		token, err := tx.Token(ctx, id)
		out = encodeBearer(k, token)
		return err
	})
	return out, err
}

func (s *accessService) ListTokens(ctx context.Context, req *stillroomv1.ListTokensRequest) (*stillroomv1.ListTokensResponse, error) {
	var k, after string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/tokens"
	if err := readPage(req.GetPageToken(), list, &after); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListTokensResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, err := tx.Tokens(ctx, after, size+1)
		rows, more := cut(rows, size)
		for _, token := range rows {
			out.Tokens = append(out.Tokens, encodeBearer(k, token))
		}
		if more {
			out.NextPageToken = nextPage(list, rows[len(rows)-1].ID)
		}
		return err
	})
	return out, err
}

func (s *accessService) RevokeToken(ctx context.Context, req *stillroomv1.RevokeTokenRequest) (*stillroomv1.Token, error) {
	var k, id string
	if err := parseName("name", req.GetName(), tokenPattern, &k, &id); err != nil {
		return nil, err
	}
	var out *stillroomv1.Token
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		token, err := tx.RevokeToken(ctx, id, s.now())
		out = encodeBearer(k, token)
		return err
	})
	return out, err
}

func (s *accessService) ListAuditEntries(ctx context.Context, req *stillroomv1.ListAuditEntriesRequest) (*stillroomv1.ListAuditEntriesResponse, error) {
	var k string
	if err := parseName("parent", req.GetParent(), kitchenPattern, &k); err != nil {
		return nil, err
	}
	list := req.GetParent() + "/auditEntries"
	var before uuid.UUID
	if err := readPage(req.GetPageToken(), list, &before); err != nil {
		return nil, err
	}
	size := pageSize(req.GetPageSize())
	out := &stillroomv1.ListAuditEntriesResponse{}
	err := s.store.In(ctx, k, func(tx *store.Tx) error {
		out.Reset()
		rows, cursors, err := tx.AuditEntries(ctx, before, size+1)
		rows, more := cut(rows, size)
		for _, e := range rows {
			out.AuditEntries = append(out.AuditEntries, encodeEntry(e))
		}
		if more {
			out.NextPageToken = nextPage(list, cursors[size-1])
		}
		return err
	})
	return out, err
}

func encodeEntry(e access.Entry) *stillroomv1.AuditEntry {
	return &stillroomv1.AuditEntry{
		Time: timestamppb.New(e.Time), Caller: e.Caller, Role: stillroomv1.Role(e.Role), Method: e.Method,
		Resource: e.Resource, RequestId: e.RequestID,
	}
}

// longestLife bounds how long a token may work.
const longestLife = 2 * 366 * 24 * time.Hour

// decodeBearer reads a token of kitchen k.
func (s *accessService) decodeBearer(k, id string, m *stillroomv1.Token) (access.Token, error) {
	var c fault.Collector
	token := access.Token{ID: id, DisplayName: m.GetDisplayName(), Role: access.Role(m.GetRole()), Expires: s.now().Add(access.DefaultLife)}
	if m.GetExpireTime() != nil {
		token.Expires = decodeTime(&c, "token.expire_time", m.GetExpireTime())
		if c.Len() == 0 && (!token.Expires.After(s.now()) || token.Expires.After(s.now().Add(longestLife))) {
			c.Add("token.expire_time", token.Expires.Format(time.RFC3339), "is past or more than two years away", "give a time within two years, or none for 90 days")
		}
	}
	switch {
	case token.Role == access.Participant:
		c.AddErr("", within(k, "token.participant", m.GetParticipant(), participantPattern, &token.Participant))
		c.AddErr("", within(k, "token.class", m.GetClass(), classPattern, &token.Class))
	case m.GetParticipant() != "":
		c.Add("token.participant", m.GetParticipant(), "is only for the role of a participant", "leave it empty")
	case m.GetClass() != "":
		c.Add("token.class", m.GetClass(), "is only for the role of a participant", "leave it empty")
	}
	return token, c.Err()
}

func encodeBearer(k string, t access.Token) *stillroomv1.Token {
	out := &stillroomv1.Token{
		Name: nameOf(tokenPattern, k, t.ID), DisplayName: t.DisplayName, Role: stillroomv1.Role(t.Role),
		ExpireTime: timestamppb.New(t.Expires), CreateTime: timestamppb.New(t.CreatedAt),
	}
	if t.Participant != "" {
		out.Participant = nameOf(participantPattern, k, t.Participant)
		out.Class = nameOf(classPattern, k, t.Class)
	}
	if !t.LastUse.IsZero() {
		out.LastUseTime = timestamppb.New(t.LastUse)
	}
	if !t.Revoked.IsZero() {
		out.RevokeTime = timestamppb.New(t.Revoked)
	}
	return out
}
