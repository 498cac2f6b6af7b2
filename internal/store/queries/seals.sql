-- name: LockBatch :one
-- Held until the transaction ends, so that no two people tell of the same last jar.
SELECT b.id, b.class_id
FROM batches b JOIN classes c ON c.kitchen_id = b.kitchen_id AND c.id = b.class_id
WHERE b.kitchen_id = @kitchen_id AND c.slug = @class_slug AND b.slug = @slug
FOR UPDATE OF b;

-- name: InsertSealCheck :exec
INSERT INTO seal_checks (kitchen_id, class_id, id, slug, batch_id, participant_id, sealed, unsealed, created_at, updated_at)
VALUES (@kitchen_id, @class_id, @id, @slug, @batch_id, @participant_id, @sealed, @unsealed, @at, @at);

-- name: GetSealCheck :one
SELECT sqlc.embed(s), b.slug AS batch_slug, p.slug AS participant_slug, p.display_name AS participant_display_name
FROM seal_checks s
JOIN classes c ON c.kitchen_id = s.kitchen_id AND c.id = s.class_id
JOIN batches b ON b.kitchen_id = s.kitchen_id AND b.class_id = s.class_id AND b.id = s.batch_id
JOIN participants p ON p.kitchen_id = s.kitchen_id AND p.id = s.participant_id
WHERE s.kitchen_id = @kitchen_id AND c.slug = @class_slug AND s.slug = @slug;

-- name: ListSealChecks :many
SELECT sqlc.embed(s), b.slug AS batch_slug, p.slug AS participant_slug, p.display_name AS participant_display_name
FROM seal_checks s
JOIN classes c ON c.kitchen_id = s.kitchen_id AND c.id = s.class_id
JOIN batches b ON b.kitchen_id = s.kitchen_id AND b.class_id = s.class_id AND b.id = s.batch_id
JOIN participants p ON p.kitchen_id = s.kitchen_id AND p.id = s.participant_id
WHERE s.kitchen_id = @kitchen_id AND c.slug = @class_slug
  AND (@participant_slug::text = '' OR p.slug = @participant_slug)
  AND s.id > @after
ORDER BY s.id
LIMIT @size;

-- name: SealChecksBy :many
SELECT sqlc.embed(s), c.slug AS class_slug, b.slug AS batch_slug, p.slug AS participant_slug, p.display_name AS participant_display_name
FROM seal_checks s
JOIN classes c ON c.kitchen_id = s.kitchen_id AND c.id = s.class_id
JOIN batches b ON b.kitchen_id = s.kitchen_id AND b.class_id = s.class_id AND b.id = s.batch_id
JOIN participants p ON p.kitchen_id = s.kitchen_id AND p.id = s.participant_id
WHERE s.kitchen_id = @kitchen_id AND p.slug = @slug
ORDER BY s.id;

-- name: JarsToldOf :one
-- Jars of a batch that people have told of, leaving out one seal check.
SELECT COALESCE(sum(s.sealed + s.unsealed), 0)::integer AS jars
FROM seal_checks s
WHERE s.kitchen_id = @kitchen_id AND s.class_id = @class_id AND s.batch_id = @batch_id AND s.slug <> @but;

-- name: UpdateSealCheck :execrows
UPDATE seal_checks s
SET sealed = @sealed, unsealed = @unsealed, updated_at = @at, version = s.version + 1
WHERE s.kitchen_id = @kitchen_id AND s.class_id = @class_id AND s.slug = @slug AND s.version = @version;
