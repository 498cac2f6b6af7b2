-- name: InsertParticipant :one
INSERT INTO participants (kitchen_id, id, slug, display_name, email, phone, allergies, home_altitude_m)
VALUES (@kitchen_id, @id, @slug, @display_name, @email, @phone, @allergies, sqlc.narg('home_altitude_m'))
RETURNING *;

-- name: GetParticipant :one
SELECT * FROM participants WHERE kitchen_id = @kitchen_id AND slug = @slug;

-- name: GetParticipantByEmail :one
SELECT * FROM participants WHERE kitchen_id = @kitchen_id AND lower(email) = lower(@email) AND email <> '';

-- name: ListParticipants :many
SELECT * FROM participants WHERE kitchen_id = @kitchen_id AND slug > @after ORDER BY slug LIMIT @size;

-- name: UpdateParticipant :one
UPDATE participants
SET display_name = @display_name, email = @email, phone = @phone, allergies = @allergies,
    home_altitude_m = sqlc.narg('home_altitude_m'), version = version + 1
WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version
RETURNING *;

-- name: DeleteParticipant :execrows
DELETE FROM participants p
WHERE p.kitchen_id = @kitchen_id AND p.slug = @slug AND p.version = @version
  AND NOT EXISTS (SELECT 1 FROM enrolments e
                  WHERE e.kitchen_id = p.kitchen_id AND e.participant_id = p.id AND e.state <> 'cancelled');

-- name: TakeTurn :one
UPDATE classes SET next_turn = next_turn + 1
WHERE kitchen_id = @kitchen_id AND id = @id
RETURNING (next_turn - 1)::bigint AS turn;

-- name: InsertEnrolment :exec
INSERT INTO enrolments (kitchen_id, class_id, id, slug, participant_id, state, turn, station_id)
VALUES (@kitchen_id, @class_id, @id, @slug, @participant_id, @state, @turn, sqlc.narg('station_id'));

-- name: GetEnrolment :one
SELECT sqlc.embed(e), p.slug AS participant_slug, p.display_name AS participant_display_name,
       COALESCE(st.slug, '') AS station_slug,
       (CASE WHEN e.state = 'waiting' THEN
            (SELECT count(*) FROM enrolments w
             WHERE w.kitchen_id = e.kitchen_id AND w.class_id = e.class_id AND w.state = 'waiting' AND w.turn <= e.turn)
        ELSE 0 END)::integer AS waiting_position
FROM enrolments e
JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
JOIN participants p ON p.kitchen_id = e.kitchen_id AND p.id = e.participant_id
LEFT JOIN stations st ON st.kitchen_id = e.kitchen_id AND st.class_id = e.class_id AND st.id = e.station_id
WHERE e.kitchen_id = @kitchen_id AND c.slug = @class_slug AND e.slug = @slug;

-- name: FindEnrolment :one
SELECT e.slug, e.state FROM enrolments e
WHERE e.kitchen_id = @kitchen_id AND e.class_id = @class_id AND e.participant_id = @participant_id
  AND e.state <> 'cancelled';

-- name: ListEnrolments :many
-- Ranks order the roster: 0 places, 1 the waiting list, 2 cancelled.
WITH roster AS (
    SELECT e.*, array_position(ARRAY['enrolled', 'waiting', 'cancelled'], e.state) - 1 AS rank,
           row_number() OVER (PARTITION BY e.state ORDER BY e.turn) AS place
    FROM enrolments e JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
    WHERE e.kitchen_id = @kitchen_id AND c.slug = @class_slug
)
SELECT r.slug, r.state, r.turn, r.created_at, r.version, r.rank::integer AS rank,
       (CASE WHEN r.state = 'waiting' THEN r.place ELSE 0 END)::integer AS waiting_position,
       p.slug AS participant_slug, p.display_name AS participant_display_name, COALESCE(st.slug, '') AS station_slug
FROM roster r
JOIN participants p ON p.kitchen_id = r.kitchen_id AND p.id = r.participant_id
LEFT JOIN stations st ON st.kitchen_id = r.kitchen_id AND st.class_id = r.class_id AND st.id = r.station_id
WHERE (r.rank, r.turn) > (@after_rank::integer, @after_turn::bigint) AND r.rank <= @last_rank::integer
ORDER BY r.rank, r.turn
LIMIT @size;

-- name: UpdateEnrolment :execrows
UPDATE enrolments e
SET station_id = sqlc.narg('station_id'), version = e.version + 1
FROM classes c
WHERE e.kitchen_id = @kitchen_id AND c.kitchen_id = e.kitchen_id AND c.id = e.class_id
  AND c.slug = @class_slug AND e.slug = @slug AND e.version = @version AND e.state <> 'cancelled';

-- name: CancelEnrolment :execrows
UPDATE enrolments e
SET state = 'cancelled', station_id = NULL, version = e.version + 1
WHERE e.kitchen_id = @kitchen_id AND e.class_id = @class_id AND e.slug = @slug AND e.state <> 'cancelled';

-- name: PromoteFirstWaiting :one
-- The class row is locked by the caller.
UPDATE enrolments e
SET state = 'enrolled', version = e.version + 1
WHERE (e.kitchen_id, e.class_id, e.id) = (
    SELECT w.kitchen_id, w.class_id, w.id FROM enrolments w
    WHERE w.kitchen_id = @kitchen_id AND w.class_id = @class_id AND w.state = 'waiting'
    ORDER BY w.turn LIMIT 1)
RETURNING e.slug;

-- name: StationID :one
SELECT id FROM stations WHERE kitchen_id = @kitchen_id AND class_id = @class_id AND slug = @slug;

-- name: ListRoster :many
SELECT p.display_name, p.email, p.phone, p.allergies, p.home_altitude_m, e.state,
       COALESCE(st.slug, '') AS station_slug,
       (CASE WHEN e.state = 'waiting' THEN row_number() OVER (PARTITION BY e.state ORDER BY e.turn) ELSE 0 END)::integer
           AS waiting_position
FROM enrolments e
JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
JOIN participants p ON p.kitchen_id = e.kitchen_id AND p.id = e.participant_id
LEFT JOIN stations st ON st.kitchen_id = e.kitchen_id AND st.class_id = e.class_id AND st.id = e.station_id
WHERE e.kitchen_id = @kitchen_id AND c.slug = @class_slug AND e.state <> 'cancelled'
ORDER BY array_position(ARRAY['enrolled', 'waiting'], e.state), e.turn;

-- name: ListGuests :many
SELECT p.slug, p.display_name, p.allergies, COALESCE(st.slug, '') AS station_slug
FROM enrolments e
JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
JOIN participants p ON p.kitchen_id = e.kitchen_id AND p.id = e.participant_id
LEFT JOIN stations st ON st.kitchen_id = e.kitchen_id AND st.class_id = e.class_id AND st.id = e.station_id
WHERE e.kitchen_id = @kitchen_id AND c.slug = @class_slug AND e.state = 'enrolled'
ORDER BY e.turn;
