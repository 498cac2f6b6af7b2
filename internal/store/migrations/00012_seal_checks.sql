-- +goose Up
-- What participants found when they tested the seals of their jars: one row for a participant and a batch.
CREATE TABLE seal_checks (
    kitchen_id     uuid        NOT NULL,
    class_id       uuid        NOT NULL,
    id             uuid        NOT NULL,
    slug           text        NOT NULL,
    batch_id       uuid        NOT NULL,
    participant_id uuid        NOT NULL,
    sealed         integer     NOT NULL CHECK (sealed BETWEEN 0 AND 200),
    unsealed       integer     NOT NULL CHECK (unsealed BETWEEN 0 AND 200),
    created_at     timestamptz NOT NULL,
    updated_at     timestamptz NOT NULL,
    version        bigint      NOT NULL DEFAULT 1,
    CONSTRAINT seal_checks_pkey PRIMARY KEY (kitchen_id, class_id, id),
    CONSTRAINT seal_checks_slug_key UNIQUE (kitchen_id, class_id, slug),
    CONSTRAINT seal_checks_once UNIQUE (kitchen_id, class_id, batch_id, participant_id),
    CONSTRAINT seal_checks_of_something CHECK (sealed + unsealed >= 1),
    CONSTRAINT seal_checks_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE,
    -- No cascade: a batch that people have told of stays.
    CONSTRAINT seal_checks_batch_fkey FOREIGN KEY (kitchen_id, class_id, batch_id)
        REFERENCES batches (kitchen_id, class_id, id),
    CONSTRAINT seal_checks_participant_fkey FOREIGN KEY (kitchen_id, participant_id)
        REFERENCES participants (kitchen_id, id) ON DELETE CASCADE
);

CREATE INDEX seal_checks_by_participant ON seal_checks (kitchen_id, participant_id);

SELECT raise_wall('seal_checks');

-- +goose Down
DROP TABLE seal_checks;
