// Package access knows who calls and what they may do: roles, callers, and the
// secrets of bearer tokens. It knows neither the wire nor the database.
package access

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"time"
)

// Role is what a caller is in a kitchen; a higher role may do what a lower one may.
type Role int

// The roles, lowest first.
const (
	Nobody Role = iota
	Participant
	Assistant
	Instructor
	Owner
	Operator
)

var roleNames = [...]string{"nobody", "participant", "assistant", "instructor", "owner", "operator"}

// String is the role in one word.
func (r Role) String() string {
	if r < Nobody || int(r) >= len(roleNames) {
		return "unknown"
	}
	return roleNames[r]
}

// ParseRole reads what String writes.
func ParseRole(s string) (Role, bool) {
	for i, name := range roleNames {
		if name == s && i > 0 {
			return Role(i), true
		}
	}
	return Nobody, false
}

// Caller is who makes a call.
type Caller struct {
	Role Role
	// Kitchen is the id of the one kitchen the caller belongs to; empty for an operator.
	Kitchen string
	// Token is the id of the token shown; Subject whom an identity provider vouches for, by an identifier
	// that is not their name. One of them is set but for an operator.
	Token, Subject string
	// Participant and Class are the ids a participant's token is bound to; empty for others.
	Participant, Class string
	DisplayName        string
	// Until is when what let the caller in stops working; zero for never.
	Until time.Time
}

// Name is how the record of changes calls the caller.
func (c Caller) Name() string {
	switch {
	case c.Token != "":
		return "tokens/" + c.Token
	case c.Subject != "":
		return c.Subject
	}
	return c.Role.String()
}

// Token lets a person or a program in.
type Token struct {
	ID          string
	DisplayName string
	Role        Role
	// Participant and Class are set for the role Participant, empty otherwise.
	Participant, Class string
	Expires            time.Time
	CreatedAt          time.Time
	// LastUse and Revoked are zero when that has not happened.
	LastUse, Revoked time.Time
}

// DefaultLife is how long a token works when nobody says.
const DefaultLife = 90 * 24 * time.Hour

// secretPrefix marks our secrets, so that one that leaks into a log or a repository can be recognised.
const secretPrefix = "stillroom_"

// NewSecret makes a secret of 256 random bits.
func NewSecret() string {
	var bits [32]byte
	_, _ = rand.Read(bits[:]) // never fails, says crypto/rand
	return secretPrefix + base64.RawURLEncoding.EncodeToString(bits[:])
}

// Hash is what is kept of a secret. A secret is random, so one round of SHA-256 suffices.
func Hash(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}

type contextKey struct{}

// With puts the caller into a context.
func With(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, contextKey{}, c)
}

// From is the caller of a context; Nobody when there is none.
func From(ctx context.Context) Caller {
	c, _ := ctx.Value(contextKey{}).(Caller)
	return c
}

// Entry is a line of the record: who changed what, when.
type Entry struct {
	Time      time.Time
	Caller    string
	Role      Role
	Method    string
	Resource  string
	RequestID string
}

type entryKey struct{}

// Recording puts into a context what a change made in it will be recorded as.
func Recording(ctx context.Context, e Entry) context.Context {
	return context.WithValue(ctx, entryKey{}, e)
}

// Recorded is the entry of a context, and whether changes made in it are recorded.
func Recorded(ctx context.Context) (Entry, bool) {
	e, ok := ctx.Value(entryKey{}).(Entry)
	return e, ok
}
