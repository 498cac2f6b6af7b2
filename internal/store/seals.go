package store

import (
	"context"
	"time"

	"github.com/google/uuid"

	"stillroom/internal/fault"
	"stillroom/internal/kitchen"
	"stillroom/internal/store/db"
)

var (
	_ = onConstraint("seal_checks_once", fault.AlreadyExists, "these jars were told of already; correct that seal check instead")
	_ = onConstraint("seal_checks_of_something", fault.Invalid, "a seal check tells of at least one jar")
	_ = onConstraint("seal_checks_batch_fkey", fault.Precondition, "participants have told how the seals of this batch came out, so it stays as it is")
)

// CreateSealCheck keeps a seal check. The batch's row is locked, so that all seal checks
// of a batch together never tell of more than most jars; Precondition when they would.
func (t *Tx) CreateSealCheck(ctx context.Context, c kitchen.SealCheck, most int, now time.Time) (kitchen.SealCheck, error) {
	batch, err := t.roomFor(ctx, c, most)
	if err != nil {
		return kitchen.SealCheck{}, err
	}
	person, err := t.q.GetParticipant(ctx, db.GetParticipantParams{KitchenID: t.kitchen, Slug: c.Participant})
	if err != nil {
		return kitchen.SealCheck{}, found(err, "participant", c.Participant)
	}
	id := newID()
	slug := id.String()
	err = t.q.InsertSealCheck(ctx, db.InsertSealCheckParams{
		KitchenID: t.kitchen, ClassID: batch.ClassID, ID: id, Slug: slug, BatchID: batch.ID, ParticipantID: person.ID,
		Sealed: int32(c.Sealed), Unsealed: int32(c.Unsealed), At: now,
	})
	if err != nil {
		return kitchen.SealCheck{}, err
	}
	return t.SealCheck(ctx, c.Class, slug)
}

// UpdateSealCheck writes the counts of a seal check whose version is still current, within most as CreateSealCheck.
func (t *Tx) UpdateSealCheck(ctx context.Context, c kitchen.SealCheck, most int, now time.Time) (kitchen.SealCheck, error) {
	batch, err := t.roomFor(ctx, c, most)
	if err != nil {
		return kitchen.SealCheck{}, err
	}
	n, err := t.q.UpdateSealCheck(ctx, db.UpdateSealCheckParams{
		KitchenID: t.kitchen, ClassID: batch.ClassID, Slug: c.ID, Version: c.Version, Sealed: int32(c.Sealed), Unsealed: int32(c.Unsealed), At: now,
	})
	if err := changed(n, err, "seal check"); err != nil {
		return kitchen.SealCheck{}, err
	}
	return t.SealCheck(ctx, c.Class, c.ID)
}

// roomFor locks the batch of a seal check and sees that its jars are there.
func (t *Tx) roomFor(ctx context.Context, c kitchen.SealCheck, most int) (db.LockBatchRow, error) {
	batch, err := t.q.LockBatch(ctx, db.LockBatchParams{KitchenID: t.kitchen, ClassSlug: c.Class, Slug: c.Batch})
	if err != nil {
		return batch, found(err, "batch", c.Batch)
	}
	told, err := t.q.JarsToldOf(ctx, db.JarsToldOfParams{KitchenID: t.kitchen, ClassID: batch.ClassID, BatchID: batch.ID, But: c.ID})
	if err != nil {
		return batch, err
	}
	if int(told)+c.Jars() > most {
		return batch, fault.New(fault.Precondition, "%d jars of this batch went through a canner and %d were told of already, so %d cannot be; count again, or ask your instructor",
			most, told, c.Jars())
	}
	return batch, nil
}

// SealCheck is a seal check of a class.
func (t *Tx) SealCheck(ctx context.Context, class, id string) (kitchen.SealCheck, error) {
	r, err := t.q.GetSealCheck(ctx, db.GetSealCheckParams{KitchenID: t.kitchen, ClassSlug: class, Slug: id})
	return toSealCheck(db.ListSealChecksRow(r), class), found(err, "seal check", id)
}

// SealChecks lists the seal checks of a class, of one participant unless that is empty, after a
// cursor (the first when nil), with the cursor of each.
func (t *Tx) SealChecks(ctx context.Context, class, participant string, after uuid.UUID, limit int32) ([]kitchen.SealCheck, []uuid.UUID, error) {
	rows, err := t.q.ListSealChecks(ctx, db.ListSealChecksParams{
		KitchenID: t.kitchen, ClassSlug: class, ParticipantSlug: participant, After: after, Size: limit,
	})
	return each(rows, func(r db.ListSealChecksRow) kitchen.SealCheck { return toSealCheck(r, class) }),
		each(rows, func(r db.ListSealChecksRow) uuid.UUID { return r.SealCheck.ID }), err
}

func toSealCheck(r db.ListSealChecksRow, class string) kitchen.SealCheck {
	return kitchen.SealCheck{
		ID: r.SealCheck.Slug, Class: class, Batch: r.BatchSlug, Participant: r.ParticipantSlug, ParticipantName: r.ParticipantDisplayName,
		Sealed: int(r.SealCheck.Sealed), Unsealed: int(r.SealCheck.Unsealed),
		CreatedAt: r.SealCheck.CreatedAt, UpdatedAt: r.SealCheck.UpdatedAt, Version: r.SealCheck.Version,
	}
}
