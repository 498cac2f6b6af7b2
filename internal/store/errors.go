package store

import (
	"context"
	"errors"
	"io"
	"net"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"stillroom/internal/fault"
)

// Names of the SQLSTATE codes we act on (PostgreSQL documentation, appendix A).
const (
	sqlUniqueViolation       = "23505"
	sqlForeignKeyViolation   = "23503"
	sqlCheckViolation        = "23514"
	sqlExclusionViolation    = "23P01"
	sqlRestrictViolation     = "23001"
	sqlSerializationFailure  = "40001"
	sqlDeadlockDetected      = "40P01"
	sqlTooManyConnections    = "53300"
	sqlAdminShutdown         = "57P01"
	sqlCrashShutdown         = "57P02"
	sqlCannotConnectNow      = "57P03"
	sqlNotInRepertoire       = "22021"
	sqlUntranslatable        = "22P05"
	sqlTimeOutOfRange        = "22008"
	sqlConnectionClassPrefix = "08"
)

// retryAdvice is how long a caller should wait for a database that is away.
const retryAdvice = 2 * time.Second

// constraintFaults says what each constraint means to a caller, by name. Each
// part of the store registers its own with onConstraint.
var constraintFaults = map[string]func() *fault.Error{}

// onConstraint registers the fault of a constraint; it returns a value so that it
// can stand in a var declaration.
func onConstraint(name string, kind fault.Kind, message string) struct{} {
	constraintFaults[name] = func() *fault.Error { return fault.New(kind, "%s", message) }
	return struct{}{}
}

// translate turns a database error into a fault; faults pass through. The text of
// the database stays in the cause, for the log.
func translate(err error) error {
	if err == nil {
		return nil
	}
	var f *fault.Error
	if errors.As(err, &f) {
		return err
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var connectErr *pgconn.ConnectError
	if errors.As(err, &connectErr) {
		return away(err)
	}
	var pgErr *pgconn.PgError
	if errors.As(err, &pgErr) {
		return translateSQL(pgErr)
	}
	var netErr net.Error
	if errors.As(err, &netErr) || pgconn.SafeToRetry(err) || errors.Is(err, net.ErrClosed) || errors.Is(err, io.ErrUnexpectedEOF) {
		return away(err)
	}
	return err
}

func away(err error) *fault.Error {
	f := fault.New(fault.Unavailable, "the database is away; try again in a moment").Because(err)
	f.RetryAfter = retryAdvice
	return f
}

func translateSQL(e *pgconn.PgError) error {
	if known, ok := constraintFaults[e.ConstraintName]; ok && e.ConstraintName != "" {
		return known().Because(e)
	}
	switch e.Code {
	case sqlSerializationFailure, sqlDeadlockDetected:
		return fault.New(fault.Conflict, "somebody else was changing the same thing; read it again and retry").Because(e)
	case sqlTooManyConnections, sqlAdminShutdown, sqlCrashShutdown, sqlCannotConnectNow:
		return away(e)
	case sqlUniqueViolation:
		return fault.New(fault.AlreadyExists, "that is taken already").Because(e)
	case sqlForeignKeyViolation, sqlRestrictViolation:
		return fault.New(fault.Precondition, "something else still depends on it").Because(e)
	case sqlNotInRepertoire, sqlUntranslatable:
		return fault.New(fault.Invalid, "a text holds a NUL character, or another that cannot be kept; leave it out").Because(e)
	case sqlTimeOutOfRange:
		return fault.New(fault.Invalid, "a time is outside what can be kept; give one of the years 1 to 9999").Because(e)
	case sqlCheckViolation, sqlExclusionViolation:
		return fault.New(fault.Precondition, "that would break a rule that always holds").Because(e)
	}
	if len(e.Code) == 5 && e.Code[:2] == sqlConnectionClassPrefix {
		return away(e)
	}
	return e
}

// retryable says whether running the whole transaction again may succeed.
func retryable(err error) bool {
	var pgErr *pgconn.PgError
	return errors.As(err, &pgErr) && (pgErr.Code == sqlSerializationFailure || pgErr.Code == sqlDeadlockDetected)
}

// found turns "no rows" into a NotFound fault that names the thing.
func found(err error, what, name string) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return fault.Missing(what, name)
	}
	return translate(err)
}

// stale is the fault of an edit whose version is no longer current.
func stale(what string) error {
	return fault.New(fault.Conflict, "somebody else changed this %s meanwhile; read it again and repeat the change", what)
}

// current turns "no row updated" into a Conflict: the version was no longer current.
func current(err error, what string) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return stale(what)
	}
	return err
}

// changed is current for statements that count rows.
func changed(n int64, err error, what string) error {
	if err == nil && n == 0 {
		return stale(what)
	}
	return err
}
