-- +goose Up
CREATE TABLE sessions (
    kitchen_id uuid        NOT NULL,
    class_id   uuid        NOT NULL,
    id         uuid        NOT NULL,
    slug       text        NOT NULL,
    host       text        NOT NULL,
    opened_at  timestamptz NOT NULL,
    closed_at  timestamptz,
    CONSTRAINT sessions_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT sessions_slug_key UNIQUE (kitchen_id, class_id, slug),
    CONSTRAINT sessions_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE
);

CREATE UNIQUE INDEX sessions_one_open ON sessions (kitchen_id, class_id) WHERE closed_at IS NULL;

-- A question outlives the class, the recipe and the asker it came from: it is
-- never lost with them.
CREATE TABLE questions (
    kitchen_id        uuid        NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id                uuid        NOT NULL,
    slug              text        NOT NULL,
    class_id          uuid,
    recipe_id         uuid,
    step              integer     NOT NULL DEFAULT 0 CHECK (step BETWEEN 0 AND 200),
    topic             text        NOT NULL,
    body              text        NOT NULL CHECK (body <> ''),
    asker_id          uuid,
    unnamed           boolean     NOT NULL,
    need_at           timestamptz,
    state             text        NOT NULL DEFAULT 'asked'
        CHECK (state IN ('asked', 'taken', 'parked', 'answered', 'merged', 'withdrawn')),
    urgent            boolean     NOT NULL,
    -- The triage rules that raised it, with the words they found: [{"rule": …, "matched": […]}].
    findings          jsonb       NOT NULL,
    merged_into       uuid,
    -- Counted anew under the row's lock whenever an endorsement or a merge changes them.
    asker_count       integer     NOT NULL DEFAULT 1 CHECK (asker_count >= 0),
    endorsement_count integer     NOT NULL DEFAULT 0 CHECK (endorsement_count >= 0),
    pinned            boolean     NOT NULL DEFAULT false,
    excluded          boolean     NOT NULL DEFAULT false,
    answer_seconds    integer     NOT NULL DEFAULT 0 CHECK (answer_seconds BETWEEN 0 AND 43200),
    -- Place in the stored running order; none when it is in no order.
    place             integer,
    -- How often hosts went on without it.
    skips             integer     NOT NULL DEFAULT 0,
    session_id        uuid,
    host              text        NOT NULL DEFAULT '',
    answer            text        NOT NULL DEFAULT '',
    answered_by       text        NOT NULL DEFAULT '',
    -- [{"publication": …, "locator": …}]
    answer_sources    jsonb       NOT NULL DEFAULT '[]',
    answer_spoken     boolean     NOT NULL DEFAULT false,
    answered_at       timestamptz,
    -- The session in which it was answered; none when in writing.
    answered_in       uuid,
    audience          text        NOT NULL DEFAULT 'askers' CHECK (audience IN ('askers', 'class', 'library')),
    reviewer          text        NOT NULL DEFAULT '',
    created_at        timestamptz NOT NULL,
    version           bigint      NOT NULL DEFAULT 1,
    -- The order of lists: urgent first, then by people who want to know.
    rank              bigint      NOT NULL GENERATED ALWAYS AS
        ((CASE WHEN urgent THEN 0 ELSE 1000000000 END)::bigint - asker_count - endorsement_count) STORED,
    search            tsvector    NOT NULL GENERATED ALWAYS AS
        (setweight(to_tsvector('english', topic || ' ' || body), 'A') || setweight(to_tsvector('english', answer), 'B')) STORED,
    CONSTRAINT questions_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT questions_slug_key UNIQUE (kitchen_id, slug),
    CONSTRAINT questions_merged_holds CHECK ((state = 'merged') = (merged_into IS NOT NULL) AND merged_into <> id),
    CONSTRAINT questions_taken_holds CHECK ((state = 'taken') = (session_id IS NOT NULL)),
    CONSTRAINT questions_answered_holds CHECK ((state = 'answered') = (answered_at IS NOT NULL) AND (state = 'answered') = (answer <> '')),
    CONSTRAINT questions_plan_holds CHECK (NOT (pinned AND excluded)),
    CONSTRAINT questions_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE SET NULL (class_id),
    CONSTRAINT questions_recipe_fkey FOREIGN KEY (kitchen_id, recipe_id)
        REFERENCES recipes (kitchen_id, id) ON DELETE SET NULL (recipe_id),
    CONSTRAINT questions_asker_fkey FOREIGN KEY (kitchen_id, asker_id)
        REFERENCES participants (kitchen_id, id) ON DELETE SET NULL (asker_id),
    CONSTRAINT questions_merged_fkey FOREIGN KEY (kitchen_id, merged_into) REFERENCES questions (kitchen_id, id),
    CONSTRAINT questions_session_fkey FOREIGN KEY (kitchen_id, session_id) REFERENCES sessions (kitchen_id, id),
    CONSTRAINT questions_answered_in_fkey FOREIGN KEY (kitchen_id, answered_in)
        REFERENCES sessions (kitchen_id, id) ON DELETE SET NULL (answered_in)
);

CREATE INDEX questions_by_rank ON questions (kitchen_id, rank, created_at, slug);
CREATE INDEX questions_by_class ON questions (kitchen_id, class_id, state);
CREATE INDEX questions_by_asker ON questions (kitchen_id, asker_id, created_at);
CREATE INDEX questions_merged ON questions (kitchen_id, merged_into) WHERE merged_into IS NOT NULL;
CREATE INDEX questions_search ON questions USING gin (search) WHERE state = 'answered';
CREATE INDEX questions_letters ON questions USING gin (body gin_trgm_ops) WHERE state = 'answered';

-- When a class goes, what its open session holds goes back to the queue before
-- the session goes with it.
-- +goose StatementBegin
CREATE FUNCTION release_session() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE questions SET state = 'asked', session_id = NULL, host = '', version = version + 1
    WHERE kitchen_id = OLD.kitchen_id AND session_id = OLD.id;
    RETURN OLD;
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER sessions_release BEFORE DELETE ON sessions FOR EACH ROW EXECUTE FUNCTION release_session();

CREATE TABLE endorsements (
    kitchen_id     uuid        NOT NULL,
    question_id    uuid        NOT NULL,
    participant_id uuid        NOT NULL,
    created_at     timestamptz NOT NULL,
    CONSTRAINT endorsements_pkey PRIMARY KEY (kitchen_id, question_id, participant_id),
    CONSTRAINT endorsements_question_fkey FOREIGN KEY (kitchen_id, question_id)
        REFERENCES questions (kitchen_id, id) ON DELETE CASCADE,
    CONSTRAINT endorsements_participant_fkey FOREIGN KEY (kitchen_id, participant_id)
        REFERENCES participants (kitchen_id, id) ON DELETE CASCADE
);

CREATE INDEX endorsements_by_participant ON endorsements (kitchen_id, participant_id);

-- The record: what happened to each question, append-only. It is also what
-- watchers follow. They read it in the order (xid, seq) and only below the
-- oldest transaction still running, so that nothing can appear behind what was
-- read (rows of a transaction that commits later have a higher xid than that).
CREATE TABLE question_events (
    kitchen_id  uuid        NOT NULL,
    xid         bigint      NOT NULL DEFAULT (pg_current_xact_id()::text::bigint),
    seq         bigint      NOT NULL GENERATED ALWAYS AS IDENTITY,
    question_id uuid        NOT NULL,
    -- The step: ask, take, answer, park, skip, undo, merge, split, withdraw, edit, endorse, publish, carry.
    step        text        NOT NULL,
    -- Who did it, where known, and what a step replaced: an answer taken back, words edited away.
    actor       text        NOT NULL DEFAULT '',
    former      text        NOT NULL DEFAULT '',
    happened_at timestamptz NOT NULL,
    CONSTRAINT question_events_pkey PRIMARY KEY (kitchen_id, xid, seq),
    CONSTRAINT question_events_question_fkey FOREIGN KEY (kitchen_id, question_id)
        REFERENCES questions (kitchen_id, id) ON DELETE CASCADE
);

CREATE INDEX question_events_by_question ON question_events (kitchen_id, question_id, seq);

-- A question as people read it: names for identifiers, and for a merged one the
-- answer of the question it is part of.
CREATE VIEW question_details WITH (security_invoker = true) AS
SELECT q.kitchen_id, q.id, q.slug, q.class_id, COALESCE(c.slug, '') AS class_slug, COALESCE(r.slug, '') AS recipe_slug,
       q.step, q.topic, q.body, q.asker_id, COALESCE(p.slug, '') AS asker_slug, COALESCE(p.display_name, '') AS asker_name,
       q.unnamed, q.need_at, q.state, q.urgent, q.findings,
       (SELECT COALESCE(jsonb_agg(f.value), '[]') FROM questions m, jsonb_array_elements(m.findings) f
        WHERE m.kitchen_id = q.kitchen_id AND m.merged_into = q.id)::jsonb AS merged_findings,
       COALESCE(root.slug, '') AS merged_slug, q.asker_count, q.endorsement_count, q.pinned, q.excluded, q.answer_seconds,
       q.place, q.skips, q.host, COALESCE(s.slug, '') AS session_slug, COALESCE(sc.slug, '') AS session_class_slug,
       COALESCE(root.answer, q.answer) AS answer, COALESCE(root.answered_by, q.answered_by) AS answered_by,
       COALESCE(root.answer_sources, q.answer_sources) AS answer_sources,
       COALESCE(root.answer_spoken, q.answer_spoken) AS answer_spoken,
       COALESCE(root.answered_at, q.answered_at) AS answered_at,
       COALESCE(root.audience, q.audience) AS audience, COALESCE(root.reviewer, q.reviewer) AS reviewer,
       q.created_at, q.version, q.rank
FROM questions q
LEFT JOIN classes c ON c.kitchen_id = q.kitchen_id AND c.id = q.class_id
LEFT JOIN recipes r ON r.kitchen_id = q.kitchen_id AND r.id = q.recipe_id
LEFT JOIN participants p ON p.kitchen_id = q.kitchen_id AND p.id = q.asker_id
LEFT JOIN questions root ON root.kitchen_id = q.kitchen_id AND root.id = q.merged_into
LEFT JOIN sessions s ON s.kitchen_id = q.kitchen_id AND s.id = q.session_id
LEFT JOIN classes sc ON sc.kitchen_id = s.kitchen_id AND sc.id = s.class_id;

-- +goose Down
DROP VIEW question_details;
DROP TABLE question_events;
DROP TABLE endorsements;
DROP TABLE questions;
DROP TABLE sessions;
DROP FUNCTION release_session;
