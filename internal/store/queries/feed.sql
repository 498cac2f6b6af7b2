-- name: FeedHorizon :one
-- Every event below this transaction is there to be read; none can appear below it any more.
SELECT pg_snapshot_xmin(pg_current_snapshot())::text::bigint;

-- name: FeedEvents :many
-- What happened after a position, in order, up to the horizon.
SELECT e.xid, e.seq, e.question_id, (CASE WHEN e.step = 'carry' THEN e.former ELSE '' END)::text AS former_class
FROM question_events e JOIN questions q ON q.kitchen_id = e.kitchen_id AND q.id = e.question_id
WHERE e.kitchen_id = @kitchen_id AND (e.xid, e.seq) > (@after_xid::bigint, @after_seq::bigint)
  AND e.xid < @horizon::bigint
ORDER BY e.xid, e.seq
LIMIT @size;

-- name: QuestionsByID :many
SELECT * FROM question_details WHERE kitchen_id = @kitchen_id AND id = ANY (@ids::uuid[]);

-- name: AgeFeed :exec
-- Events that seem to come from the future come from another cluster, by a restore: they are older than all of this one.
UPDATE question_events SET xid = 0
WHERE kitchen_id = @kitchen_id AND xid > pg_snapshot_xmax(pg_current_snapshot())::text::bigint;

-- name: NotifyFeed :exec
SELECT pg_notify('stillroom_questions', @kitchen::text);
