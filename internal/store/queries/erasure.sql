-- name: HoldParticipant :one
-- Whoever erases waits, or is waited for and seen.
SELECT * FROM participants WHERE kitchen_id = @kitchen_id AND slug = @slug FOR KEY SHARE;

-- name: TracesOf :many
SELECT t.word::text AS word, t.anywhere::boolean AS anywhere FROM traces_of(@who::uuid, @distinctive::boolean) t (word, anywhere);

-- name: EraseTraces :many
SELECT t.former::text AS former, t.now_called::text AS now_called
FROM erase_traces(@who::uuid, @distinctive::boolean, @at::timestamptz) t (former, now_called);

-- name: PlacesAhead :many
SELECT c.slug AS class_slug, e.slug FROM enrolments e
JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
JOIN participants p ON p.kitchen_id = e.kitchen_id AND p.id = e.participant_id
WHERE e.kitchen_id = @kitchen_id AND p.slug = @slug AND e.state <> 'cancelled' AND c.starts_at > @now
ORDER BY c.starts_at, c.slug;

-- name: RepliesHolding :many
-- Stored replies that may hold one of some texts, given as patterns over the escaped bytes.
SELECT r.request_id, r.method, r.response, r.response_type FROM requests r
WHERE r.kitchen_id = @kitchen_id AND r.response IS NOT NULL AND encode(r.response, 'escape') ILIKE ANY (@patterns::text[])
ORDER BY r.request_id
FOR UPDATE OF r;

-- name: CountTokensOf :one
SELECT count(*) FROM tokens t JOIN participants p ON p.kitchen_id = t.kitchen_id AND p.id = t.participant_id
WHERE t.kitchen_id = @kitchen_id AND p.slug = @slug AND t.revoked_at IS NULL;

-- name: EnrolmentsOf :many
SELECT c.slug AS class_slug, e.slug FROM enrolments e
JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
JOIN participants p ON p.kitchen_id = e.kitchen_id AND p.id = e.participant_id
WHERE e.kitchen_id = @kitchen_id AND p.slug = @slug
ORDER BY e.created_at, e.id;

-- name: QuestionsBy :many
SELECT * FROM question_details WHERE kitchen_id = @kitchen_id AND asker_slug = @slug::text ORDER BY created_at, slug;

-- name: EndorsedBy :many
SELECT q.slug FROM endorsements n
JOIN questions q ON q.kitchen_id = n.kitchen_id AND q.id = n.question_id
JOIN participants p ON p.kitchen_id = n.kitchen_id AND p.id = n.participant_id
WHERE n.kitchen_id = @kitchen_id AND p.slug = @slug
ORDER BY n.created_at, q.slug;

-- name: TokensOf :many
SELECT sqlc.embed(t), p.slug AS participant, COALESCE(c.slug, '') AS class
FROM tokens t
JOIN participants p ON p.kitchen_id = t.kitchen_id AND p.id = t.participant_id
LEFT JOIN classes c ON c.kitchen_id = t.kitchen_id AND c.id = t.class_id
WHERE t.kitchen_id = @kitchen_id AND p.slug = @slug
ORDER BY t.created_at, t.slug;

-- name: AuditEntriesAbout :many
-- What was done to the participant, and what they did with their own tokens.
SELECT a.* FROM audit_entries a
WHERE a.kitchen_id = @kitchen_id
  AND (a.resource = @resource::text
       OR a.caller IN (SELECT 'tokens/' || t.slug FROM tokens t JOIN participants p ON p.kitchen_id = t.kitchen_id AND p.id = t.participant_id
                       WHERE t.kitchen_id = @kitchen_id AND p.slug = @slug))
ORDER BY a.id;
