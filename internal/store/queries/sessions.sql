-- name: InsertSession :exec
INSERT INTO sessions (kitchen_id, class_id, id, slug, host, opened_at)
VALUES (@kitchen_id, @class_id, @id, @slug, @host, @opened_at);

-- name: GetSession :one
SELECT sqlc.embed(s), c.slug AS class_slug,
       (SELECT count(*) FROM questions q
        WHERE q.kitchen_id = s.kitchen_id AND q.answered_in = s.id AND q.state = 'answered')::integer AS answered,
       (SELECT count(*) FROM questions q
        WHERE q.kitchen_id = s.kitchen_id AND q.class_id = s.class_id AND q.state IN ('asked', 'taken', 'parked'))::integer AS open
FROM sessions s JOIN classes c ON c.kitchen_id = s.kitchen_id AND c.id = s.class_id
WHERE s.kitchen_id = @kitchen_id AND c.slug = @class_slug AND s.slug = @slug;

-- name: ListSessions :many
SELECT sqlc.embed(s), c.slug AS class_slug,
       (SELECT count(*) FROM questions q
        WHERE q.kitchen_id = s.kitchen_id AND q.answered_in = s.id AND q.state = 'answered')::integer AS answered,
       (SELECT count(*) FROM questions q
        WHERE q.kitchen_id = s.kitchen_id AND q.class_id = s.class_id AND q.state IN ('asked', 'taken', 'parked'))::integer AS open
FROM sessions s JOIN classes c ON c.kitchen_id = s.kitchen_id AND c.id = s.class_id
WHERE s.kitchen_id = @kitchen_id AND c.slug = @class_slug
  AND (s.opened_at, s.slug) > (@after_opened::timestamptz, @after_slug::text)
ORDER BY s.opened_at, s.slug
LIMIT @size;

-- name: LockSession :one
SELECT sqlc.embed(s) FROM sessions s JOIN classes c ON c.kitchen_id = s.kitchen_id AND c.id = s.class_id
WHERE s.kitchen_id = @kitchen_id AND c.slug = @class_slug AND s.slug = @slug
FOR UPDATE OF s;

-- name: ShareSession :one
-- Hosts take side by side; closing waits for them.
SELECT sqlc.embed(s) FROM sessions s JOIN classes c ON c.kitchen_id = s.kitchen_id AND c.id = s.class_id
WHERE s.kitchen_id = @kitchen_id AND c.slug = @class_slug AND s.slug = @slug
FOR SHARE OF s;

-- name: HasOpenSession :one
SELECT EXISTS (SELECT 1 FROM sessions s WHERE s.kitchen_id = @kitchen_id AND s.class_id = @class_id AND s.closed_at IS NULL);

-- name: CloseSession :exec
WITH closed AS (
    UPDATE sessions SET closed_at = @closed_at::timestamptz WHERE sessions.kitchen_id = @kitchen_id AND sessions.id = @id),
released AS (
    UPDATE questions q SET state = 'asked', session_id = NULL, host = '', version = q.version + 1
    WHERE q.kitchen_id = @kitchen_id AND q.session_id = @id
    RETURNING q.kitchen_id, q.id)
INSERT INTO question_events (kitchen_id, question_id, step, happened_at)
SELECT r.kitchen_id, r.id, 'undo', @closed_at::timestamptz FROM released r;

-- name: TakeNext :one
-- What another host is just taking is passed over.
UPDATE questions t
SET state = 'taken', session_id = @session_id::uuid, host = @host, version = t.version + 1
WHERE (t.kitchen_id, t.id) = (
    SELECT q.kitchen_id, q.id FROM questions q
    WHERE q.kitchen_id = @kitchen_id AND q.class_id = @class_id AND q.state = 'asked' AND NOT q.excluded
    ORDER BY q.skips, q.urgent DESC, q.place NULLS LAST, q.rank, q.created_at, q.slug
    LIMIT 1
    FOR UPDATE SKIP LOCKED)
RETURNING t.id, t.slug;

-- name: FirstWaiting :one
-- What TakeNext would give if nobody held a lock; it waits for no one.
SELECT q.id FROM questions q
WHERE q.kitchen_id = @kitchen_id AND q.class_id = @class_id AND q.state = 'asked' AND NOT q.excluded
ORDER BY q.skips, q.urgent DESC, q.place NULLS LAST, q.rank, q.created_at, q.slug
LIMIT 1;
