package store

import (
	"cmp"
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"stillroom/internal/access"
	"stillroom/internal/fault"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("tokens_slug_key", fault.AlreadyExists, "the kitchen has a token with that id already; choose another")
	_ = onConstraint("tokens_binding", fault.Precondition, "a participant's token is bound to a participant and a class of the kitchen, other tokens to neither")
	_ = onConstraint("audit_entries_append_only", fault.Precondition, "the record is only ever added to")
)

// CreateToken keeps a token with the hash of its secret.
func (t *Tx) CreateToken(ctx context.Context, token access.Token, hash []byte) (access.Token, error) {
	if token.Participant != "" {
		who, err := t.q.HoldParticipant(ctx, db.HoldParticipantParams{KitchenID: t.kitchen, Slug: token.Participant})
		if err != nil {
			return access.Token{}, found(err, "participant", token.Participant)
		}
		if who.ErasedAt != nil {
			return access.Token{}, constraintFaults["participants_erased_holds"]()
		}
		if _, err := t.Class(ctx, token.Class); err != nil {
			return access.Token{}, err
		}
	}
	id := newID()
	slug := slugOr(token.ID, id)
	err := t.q.InsertToken(ctx, db.InsertTokenParams{
		KitchenID: t.kitchen, ID: id, Slug: slug, DisplayName: token.DisplayName, Hash: hash, Role: token.Role.String(),
		Participant: textWhenSet(token.Participant), Class: textWhenSet(token.Class), ExpiresAt: token.Expires,
	})
	if err != nil {
		return access.Token{}, err
	}
	return t.Token(ctx, slug)
}

// Token is the token with this id.
func (t *Tx) Token(ctx context.Context, id string) (access.Token, error) {
	row, err := t.q.GetToken(ctx, db.GetTokenParams{KitchenID: t.kitchen, Slug: id})
	return toToken(row.Token, row.Participant, row.Class), found(err, "token", id)
}

// Tokens lists tokens with ids after the given one.
func (t *Tx) Tokens(ctx context.Context, after string, limit int32) ([]access.Token, error) {
	rows, err := t.q.ListTokens(ctx, db.ListTokensParams{KitchenID: t.kitchen, After: after, Size: limit})
	return each(rows, func(r db.ListTokensRow) access.Token { return toToken(r.Token, r.Participant, r.Class) }), err
}

// RevokeToken ends a token; revoking it again changes nothing.
func (t *Tx) RevokeToken(ctx context.Context, id string, now time.Time) (access.Token, error) {
	n, err := t.q.RevokeToken(ctx, db.RevokeTokenParams{KitchenID: t.kitchen, Slug: id, At: &now})
	if err == nil && n == 0 {
		err = pgx.ErrNoRows
	}
	if err != nil {
		return access.Token{}, found(err, "token", id)
	}
	return t.Token(ctx, id)
}

// touchEvery is how exactly the last use of a token is kept.
const touchEvery = 5 * time.Minute

// Caller is the bearer of a secret; Unauthenticated when the secret is unknown,
// expired or revoked. All three read the same to the caller.
func (s *Store) Caller(ctx context.Context, secret string, now time.Time) (access.Caller, error) {
	refused := fault.New(fault.Unauthenticated, "the token is not known, has expired or was revoked; ask the kitchen's owner for another")
	var row db.FindTokenRow
	err := s.Across(ctx, func(t *Tx) (err error) {
		row, err = t.q.FindToken(ctx, access.Hash(secret))
		if errors.Is(err, pgx.ErrNoRows) {
			return refused
		}
		return err
	})
	if err != nil {
		return access.Caller{}, err
	}
	token := toToken(row.Token, "", "")
	if !token.Revoked.IsZero() || !now.Before(token.Expires) {
		return access.Caller{}, refused
	}
	if now.Sub(token.LastUse) > touchEvery {
		if err := s.run(ctx, row.Token.KitchenID, func(t *Tx) error {
			return t.q.TouchToken(ctx, db.TouchTokenParams{KitchenID: t.kitchen, ID: row.Token.ID, At: &now})
		}); err != nil {
			return access.Caller{}, err
		}
	}
	if token.Role == access.Participant {
		return s.bound(ctx, row.Token, row.Kitchen, token)
	}
	return access.Caller{
		Role: token.Role, Kitchen: row.Kitchen, Token: token.ID, DisplayName: token.DisplayName, Until: token.Expires,
	}, nil
}

// bound is the caller of a participant's token, whose participant and class lie behind
// the kitchen's wall.
func (s *Store) bound(ctx context.Context, row db.Token, kitchen string, token access.Token) (access.Caller, error) {
	var full access.Token
	err := s.run(ctx, row.KitchenID, func(t *Tx) (err error) {
		full, err = t.Token(ctx, row.Slug)
		return err
	})
	return access.Caller{
		Role: token.Role, Kitchen: kitchen, Token: token.ID, Participant: full.Participant, Class: full.Class, DisplayName: token.DisplayName,
		Until: token.Expires,
	}, err
}

// addAuditEntry adds the entry of the context, if it holds one, to the kitchen's record.
// It runs inside the transaction that makes the change, so that neither is kept
// without the other.
func (t *Tx) addAuditEntry(ctx context.Context) error {
	e, ok := access.Recorded(ctx)
	if !ok || t.silent {
		return nil
	}
	return t.q.InsertAuditEntry(ctx, db.InsertAuditEntryParams{
		KitchenID: t.kitchen, ID: newID(), At: e.Time, Caller: e.Caller, Role: e.Role.String(), Method: e.Method,
		Resource: cmp.Or(t.subject, e.Resource), RequestID: e.RequestID,
	})
}

// AuditCursor is where the record goes on: before this entry. The zero value begins with the newest.
type AuditCursor = uuid.UUID

// AuditEntries reads the record, newest first, with the cursor that continues after each.
func (t *Tx) AuditEntries(ctx context.Context, before AuditCursor, limit int32) ([]access.Entry, []AuditCursor, error) {
	if before == uuid.Nil {
		before = uuid.Max
	}
	rows, err := t.q.ListAuditEntries(ctx, db.ListAuditEntriesParams{KitchenID: t.kitchen, Before: before, Size: limit})
	cursors := each(rows, func(r db.AuditEntry) AuditCursor { return r.ID })
	return each(rows, toEntry), cursors, err
}

func toEntry(r db.AuditEntry) access.Entry {
	role, _ := access.ParseRole(r.Role)
	return access.Entry{Time: r.At, Caller: r.Caller, Role: role, Method: r.Method, Resource: r.Resource, RequestID: r.RequestID}
}

func toToken(r db.Token, participant, class string) access.Token {
	role, _ := access.ParseRole(r.Role)
	t := access.Token{
		ID: r.Slug, DisplayName: r.DisplayName, Role: role, Participant: participant, Class: class,
		Expires: r.ExpiresAt, CreatedAt: r.CreatedAt,
	}
	if r.LastUseAt != nil {
		t.LastUse = *r.LastUseAt
	}
	if r.RevokedAt != nil {
		t.Revoked = *r.RevokedAt
	}
	return t
}

// textWhenSet is nil for the empty text.
func textWhenSet(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
