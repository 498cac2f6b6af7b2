-- name: InsertClass :one
INSERT INTO classes (kitchen_id, id, slug, display_name, site_id, starts_at, duration_minutes, capacity,
                     handlers, handling_minutes, hot_hold_max_minutes, live_session_at, live_session_minutes)
SELECT s.kitchen_id, @id, @slug, @display_name, s.id, @starts_at, @duration_minutes, @capacity,
       @handlers, @handling_minutes, @hot_hold_max_minutes, sqlc.narg('live_session_at'), @live_session_minutes
FROM sites s
WHERE s.kitchen_id = @kitchen_id AND s.slug = @site_slug
RETURNING slug;

-- name: GetClass :one
SELECT sqlc.embed(c), s.slug AS site_slug,
       (SELECT count(*) FROM enrolments e
        WHERE e.kitchen_id = c.kitchen_id AND e.class_id = c.id AND e.state = 'waiting')::integer AS waiting
FROM classes c JOIN sites s ON s.kitchen_id = c.kitchen_id AND s.id = c.site_id
WHERE c.kitchen_id = @kitchen_id AND c.slug = @slug;

-- name: LockClass :one
SELECT * FROM classes WHERE kitchen_id = @kitchen_id AND slug = @slug FOR UPDATE;

-- name: ListClasses :many
SELECT sqlc.embed(c), s.slug AS site_slug,
       (SELECT count(*) FROM enrolments e
        WHERE e.kitchen_id = c.kitchen_id AND e.class_id = c.id AND e.state = 'waiting')::integer AS waiting
FROM classes c JOIN sites s ON s.kitchen_id = c.kitchen_id AND s.id = c.site_id
WHERE c.kitchen_id = @kitchen_id AND (c.starts_at, c.slug) > (@after_start::timestamptz, @after_slug::text)
ORDER BY c.starts_at, c.slug
LIMIT @size;

-- name: UpdateClass :execrows
UPDATE classes c
SET display_name = @display_name, site_id = s.id, starts_at = @starts_at, duration_minutes = @duration_minutes,
    capacity = @capacity, handlers = @handlers, handling_minutes = @handling_minutes,
    hot_hold_max_minutes = @hot_hold_max_minutes, live_session_at = sqlc.narg('live_session_at'),
    live_session_minutes = @live_session_minutes, version = c.version + 1
FROM sites s
WHERE c.kitchen_id = @kitchen_id AND c.slug = @slug AND c.version = @version
  AND s.kitchen_id = c.kitchen_id AND s.slug = @site_slug;

-- name: DeleteClass :execrows
DELETE FROM classes WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: InsertStation :one
INSERT INTO stations (kitchen_id, class_id, id, slug, display_name, position)
VALUES (@kitchen_id, @class_id, @id, @slug, @display_name,
        COALESCE(NULLIF(@position::integer, 0),
                 (SELECT COALESCE(max(o.position), 0) + 1 FROM stations o
                  WHERE o.kitchen_id = @kitchen_id AND o.class_id = @class_id)))
RETURNING *;

-- name: GetStation :one
SELECT sqlc.embed(st),
       (SELECT count(*) FROM enrolments e
        WHERE e.kitchen_id = st.kitchen_id AND e.class_id = st.class_id AND e.station_id = st.id
          AND e.state = 'enrolled')::integer AS participants
FROM stations st
JOIN classes c ON c.kitchen_id = st.kitchen_id AND c.id = st.class_id
WHERE st.kitchen_id = @kitchen_id AND c.slug = @class_slug AND st.slug = @slug;

-- name: ListStations :many
SELECT sqlc.embed(st),
       (SELECT count(*) FROM enrolments e
        WHERE e.kitchen_id = st.kitchen_id AND e.class_id = st.class_id AND e.station_id = st.id
          AND e.state = 'enrolled')::integer AS participants
FROM stations st
JOIN classes c ON c.kitchen_id = st.kitchen_id AND c.id = st.class_id
WHERE st.kitchen_id = @kitchen_id AND c.slug = @class_slug AND st.position > @after_position
ORDER BY st.position
LIMIT @size;

-- name: UpdateStation :one
UPDATE stations st
SET display_name = @display_name, position = @position, version = st.version + 1
FROM classes c
WHERE st.kitchen_id = @kitchen_id AND c.kitchen_id = st.kitchen_id AND c.id = st.class_id
  AND c.slug = @class_slug AND st.slug = @slug AND st.version = @version
RETURNING st.id;

-- name: DeleteStation :execrows
DELETE FROM stations st
USING classes c
WHERE st.kitchen_id = @kitchen_id AND c.kitchen_id = st.kitchen_id AND c.id = st.class_id
  AND c.slug = @class_slug AND st.slug = @slug AND st.version = @version;

-- name: InsertBatch :one
INSERT INTO batches (kitchen_id, class_id, id, slug, station_id, turn, revision_id, jar_size, jars, may_split)
SELECT st.kitchen_id, st.class_id, @id, @slug, st.id,
       COALESCE(NULLIF(@turn::integer, 0),
                (SELECT COALESCE(max(o.turn), 0) + 1 FROM batches o
                 WHERE o.kitchen_id = st.kitchen_id AND o.class_id = st.class_id AND o.station_id = st.id)),
       @revision_id, @jar_size, @jars, @may_split
FROM stations st
WHERE st.kitchen_id = @kitchen_id AND st.class_id = @class_id AND st.slug = @station_slug
RETURNING slug;

-- name: GetBatch :one
SELECT sqlc.embed(b), st.slug AS station_slug, st.position, r.slug AS recipe_slug, rv.number AS revision_number,
       rv.not_for_shelf_reason
FROM batches b
JOIN classes c ON c.kitchen_id = b.kitchen_id AND c.id = b.class_id
JOIN stations st ON st.kitchen_id = b.kitchen_id AND st.class_id = b.class_id AND st.id = b.station_id
JOIN recipe_revisions rv ON rv.kitchen_id = b.kitchen_id AND rv.id = b.revision_id
JOIN recipes r ON r.kitchen_id = rv.kitchen_id AND r.id = rv.recipe_id
WHERE b.kitchen_id = @kitchen_id AND c.slug = @class_slug AND b.slug = @slug;

-- name: ListBatches :many
SELECT sqlc.embed(b), st.slug AS station_slug, st.position, r.slug AS recipe_slug, rv.number AS revision_number,
       rv.not_for_shelf_reason
FROM batches b
JOIN classes c ON c.kitchen_id = b.kitchen_id AND c.id = b.class_id
JOIN stations st ON st.kitchen_id = b.kitchen_id AND st.class_id = b.class_id AND st.id = b.station_id
JOIN recipe_revisions rv ON rv.kitchen_id = b.kitchen_id AND rv.id = b.revision_id
JOIN recipes r ON r.kitchen_id = rv.kitchen_id AND r.id = rv.recipe_id
WHERE b.kitchen_id = @kitchen_id AND c.slug = @class_slug
  AND (st.position, b.turn) > (@after_position::integer, @after_turn::integer)
ORDER BY st.position, b.turn
LIMIT @size;

-- name: UpdateBatch :execrows
UPDATE batches b
SET station_id = st.id, turn = @turn, revision_id = @revision_id, jar_size = @jar_size, jars = @jars,
    may_split = @may_split, version = b.version + 1
FROM classes c, stations st
WHERE b.kitchen_id = @kitchen_id AND c.kitchen_id = b.kitchen_id AND c.id = b.class_id AND c.slug = @class_slug
  AND st.kitchen_id = b.kitchen_id AND st.class_id = b.class_id AND st.slug = @station_slug
  AND b.slug = @slug AND b.version = @version;

-- name: DeleteBatch :execrows
DELETE FROM batches b
USING classes c
WHERE b.kitchen_id = @kitchen_id AND c.kitchen_id = b.kitchen_id AND c.id = b.class_id
  AND c.slug = @class_slug AND b.slug = @slug AND b.version = @version;

-- name: DeleteClassBatches :exec
DELETE FROM batches WHERE kitchen_id = @kitchen_id AND class_id = @class_id;

-- name: RevisionID :one
SELECT rv.id FROM recipe_revisions rv
JOIN recipes r ON r.kitchen_id = rv.kitchen_id AND r.id = rv.recipe_id
WHERE rv.kitchen_id = @kitchen_id AND r.slug = @recipe_slug AND rv.number = @number;
