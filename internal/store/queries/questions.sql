-- name: LockAsker :one
-- Questions of one asker are counted one after the other. Foreign keys to the row are not held up.
SELECT id, display_name, erased_at FROM participants WHERE kitchen_id = @kitchen_id AND slug = @slug FOR NO KEY UPDATE;

-- name: AskContext :one
SELECT (SELECT c.id FROM classes c WHERE c.kitchen_id = @kitchen_id AND c.slug = @class_slug)::uuid AS class_id,
       (SELECT r.id FROM recipes r WHERE r.kitchen_id = @kitchen_id AND r.slug = @recipe_slug)::uuid AS recipe_id,
       EXISTS (SELECT 1 FROM enrolments e JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
               WHERE e.kitchen_id = @kitchen_id AND c.slug = @class_slug AND e.participant_id = @asker_id
                 AND e.state <> 'cancelled') AS in_class,
       (SELECT count(*) FROM questions q
        WHERE q.kitchen_id = @kitchen_id AND q.asker_id = @asker_id AND q.created_at > @since)::integer AS recent,
       (SELECT COALESCE(min(q.created_at), @since) FROM questions q
        WHERE q.kitchen_id = @kitchen_id AND q.asker_id = @asker_id AND q.created_at > @since)::timestamptz AS oldest;

-- name: InsertQuestion :exec
WITH asked AS (
    INSERT INTO questions (kitchen_id, id, slug, class_id, recipe_id, step, topic, body, asker_id, unnamed, need_at,
                           urgent, findings, created_at)
    VALUES (@kitchen_id, @id, @slug, sqlc.narg('class_id'), sqlc.narg('recipe_id'), @step, @topic, @body, @asker_id,
            @unnamed, sqlc.narg('need_at'), @urgent, @findings, @created_at)
    RETURNING kitchen_id, id, created_at)
INSERT INTO question_events (kitchen_id, question_id, step, actor, happened_at)
SELECT kitchen_id, id, 'ask', @actor, created_at FROM asked;

-- name: GetQuestion :one
SELECT * FROM question_details WHERE kitchen_id = @kitchen_id AND slug = @slug;

-- name: LockQuestions :many
-- In the order of identifiers, so that two merges cannot wait for each other.
SELECT q.id, q.slug, q.state, q.version, q.class_id, q.asker_id, COALESCE(root.slug, '') AS merged_slug, q.merged_into,
       q.body, q.answer
FROM questions q LEFT JOIN questions root ON root.kitchen_id = q.kitchen_id AND root.id = q.merged_into
WHERE q.kitchen_id = @kitchen_id AND q.slug = ANY (@slugs::text[])
ORDER BY q.id
FOR UPDATE OF q;

-- name: LockQuestionByID :exec
SELECT 1 FROM questions WHERE kitchen_id = @kitchen_id AND id = @id FOR UPDATE;

-- name: ListQuestions :many
SELECT * FROM question_details
WHERE kitchen_id = @kitchen_id
  AND (@class_slug::text = '' OR class_slug = @class_slug)
  AND (@recipe_slug::text = '' OR recipe_slug = @recipe_slug)
  AND (@asker_slug::text = '' OR asker_slug = @asker_slug)
  AND state = ANY (@states::text[])
  AND (NOT @urgent_only::boolean OR urgent)
  AND (rank, created_at, slug) > (@after_rank::bigint, @after_created::timestamptz, @after_slug::text)
ORDER BY rank, created_at, slug
LIMIT @size;

-- name: QuestionTexts :many
-- The words of the open questions, by rank.
SELECT slug, body FROM question_details
WHERE kitchen_id = @kitchen_id AND state IN ('asked', 'parked') AND (@class_slug::text = '' OR class_slug = @class_slug)
ORDER BY rank, created_at, slug
LIMIT @size;

-- name: PublishedTexts :many
-- What was asked where an answer is published, the newest first.
SELECT q.slug, q.body FROM questions q
LEFT JOIN classes c ON c.kitchen_id = q.kitchen_id AND c.id = q.class_id
WHERE q.kitchen_id = @kitchen_id AND q.state = 'answered'
  AND (q.audience = 'library' OR (q.audience = 'class' AND c.slug = @class_slug))
ORDER BY q.answered_at DESC, q.slug
LIMIT @size;

-- name: SearchAnswers :many
-- Any of the words will do, the rank tells how many do; letters catch what is misspelt or half typed.
WITH wanted AS (SELECT replace(plainto_tsquery('english', @text)::text, '&', '|')::tsquery AS words)
SELECT q.slug, q.body, ts_rank_cd(q.search, wanted.words, 32)::double precision AS by_words,
       word_similarity(@text, q.body)::double precision AS by_letters
FROM wanted, questions q
LEFT JOIN classes c ON c.kitchen_id = q.kitchen_id AND c.id = q.class_id
WHERE q.kitchen_id = @kitchen_id AND q.state = 'answered'
  AND (q.audience = 'library' OR (q.audience = 'class' AND c.slug = @class_slug))
  AND (q.search @@ wanted.words OR @text <% q.body)
ORDER BY ts_rank_cd(q.search, wanted.words, 32) + word_similarity(@text, q.body) DESC, q.slug
LIMIT @size;

-- name: EditQuestion :one
UPDATE questions
SET topic = @topic, body = @body, unnamed = @unnamed, need_at = sqlc.narg('need_at'), findings = @findings,
    urgent = urgent OR @urgent, pinned = @pinned, excluded = @excluded, answer_seconds = @answer_seconds,
    version = version + 1
WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version
RETURNING id;

-- name: SetQuestionState :exec
-- For steps that neither take, answer nor merge: what those set is cleared.
UPDATE questions
SET state = @state, skips = skips + @skips, session_id = NULL, host = '', merged_into = NULL,
    answer = '', answered_by = '', answer_sources = '[]', answer_spoken = false, answered_at = NULL, answered_in = NULL,
    audience = 'askers', reviewer = '', version = version + 1
WHERE kitchen_id = @kitchen_id AND id = @id;

-- name: AnswerQuestion :exec
UPDATE questions
SET state = 'answered', answered_in = session_id, session_id = NULL, host = '', answer = @answer, answered_by = @answered_by,
    answer_sources = @answer_sources, answer_spoken = @answer_spoken, answered_at = @answered_at::timestamptz, version = version + 1
WHERE kitchen_id = @kitchen_id AND id = @id;

-- name: PublishAnswer :exec
UPDATE questions SET audience = @audience, reviewer = @reviewer, answer = @answer, version = version + 1
WHERE kitchen_id = @kitchen_id AND id = @id;

-- name: MergeQuestion :exec
-- What was merged into it goes along.
UPDATE questions
SET state = 'merged', merged_into = @into_id::uuid, place = NULL, version = version + 1
WHERE kitchen_id = @kitchen_id AND (id = @id OR merged_into = @id);

-- name: RecountQuestion :exec
-- Counts the people behind a question and all that was merged into it, each once.
WITH asked AS (
    SELECT q.id, q.asker_id, q.findings FROM questions q
    WHERE q.kitchen_id = @kitchen_id AND (q.id = @id OR q.merged_into = @id))
UPDATE questions
SET asker_count = (SELECT count(DISTINCT COALESCE(a.asker_id, a.id)) FROM asked a),
    urgent = (SELECT bool_or(a.findings <> '[]') FROM asked a),
    endorsement_count = (
        SELECT count(DISTINCT e.participant_id) FROM endorsements e JOIN asked a ON a.id = e.question_id
        WHERE e.kitchen_id = @kitchen_id AND NOT EXISTS (SELECT 1 FROM asked o WHERE o.asker_id = e.participant_id)),
    version = version + 1
WHERE kitchen_id = @kitchen_id AND questions.id = @id;

-- name: InsertEndorsement :execrows
INSERT INTO endorsements (kitchen_id, question_id, participant_id, created_at)
VALUES (@kitchen_id, @question_id, @participant_id, @created_at)
ON CONFLICT DO NOTHING;

-- name: DeleteEndorsement :execrows
DELETE FROM endorsements WHERE kitchen_id = @kitchen_id AND question_id = @question_id AND participant_id = @participant_id;

-- name: InClass :one
SELECT EXISTS (SELECT 1 FROM enrolments e
               WHERE e.kitchen_id = @kitchen_id AND e.class_id = @class_id AND e.participant_id = @participant_id
                 AND e.state <> 'cancelled');

-- name: InsertQuestionEvent :exec
INSERT INTO question_events (kitchen_id, question_id, step, actor, former, happened_at)
VALUES (@kitchen_id, @question_id, @step, @actor, @former, @happened_at);

-- name: CarryOver :many
-- Merged questions follow the one they are part of.
WITH moved AS (
    UPDATE questions q
    SET class_id = sqlc.narg('to_class_id'), place = NULL, skips = 0, version = q.version + 1
    WHERE q.kitchen_id = @kitchen_id AND q.class_id = @from_class_id
      AND (q.state IN ('asked', 'parked')
           OR q.merged_into IN (SELECT r.id FROM questions r
                                WHERE r.kitchen_id = @kitchen_id AND r.class_id = @from_class_id AND r.state IN ('asked', 'parked')))
    RETURNING q.kitchen_id, q.id, q.slug, q.state, q.rank, q.created_at),
recorded AS (
    INSERT INTO question_events (kitchen_id, question_id, step, former, happened_at)
    SELECT m.kitchen_id, m.id, 'carry', @from_slug, @happened_at FROM moved m)
SELECT m.slug FROM moved m WHERE m.state <> 'merged' ORDER BY m.rank, m.created_at, m.slug;

-- name: ClearPlaces :exec
UPDATE questions SET place = NULL WHERE kitchen_id = @kitchen_id AND class_id = @class_id AND place IS NOT NULL;

-- name: SetPlaces :exec
UPDATE questions q SET place = o.place
FROM unnest(@slugs::text[]) WITH ORDINALITY AS o (slug, place)
WHERE q.kitchen_id = @kitchen_id AND q.slug = o.slug;

-- name: AnswersToExport :many
SELECT q.slug, q.topic, q.body, q.answer, q.answered_by, q.answer_sources, q.asker_count, q.created_at,
       q.answered_at::timestamptz AS answered_at,
       (SELECT COALESCE(array_agg(m.body ORDER BY m.created_at, m.id), '{}') FROM questions m
        WHERE m.kitchen_id = q.kitchen_id AND m.merged_into = q.id)::text[] AS also_asked
FROM questions q
LEFT JOIN classes c ON c.kitchen_id = q.kitchen_id AND c.id = q.class_id
WHERE q.kitchen_id = @kitchen_id AND q.state = 'answered' AND q.audience = ANY (@audiences::text[])
  AND (@class_slug::text = '' OR c.slug = @class_slug)
ORDER BY q.topic, q.answered_at, q.slug
LIMIT @size;

-- name: QuestionSteps :many
SELECT e.seq, e.step, e.actor, e.former, e.happened_at
FROM question_events e JOIN questions q ON q.kitchen_id = e.kitchen_id AND q.id = e.question_id
WHERE e.kitchen_id = @kitchen_id AND q.slug = @slug AND e.seq > @after_seq
ORDER BY e.seq
LIMIT @size;
