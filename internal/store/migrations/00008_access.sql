-- +goose Up
CREATE TABLE tokens (
    kitchen_id     uuid        NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id             uuid        NOT NULL,
    slug           text        NOT NULL,
    display_name   text        NOT NULL,
    -- SHA-256 of the secret; the secret itself is not kept.
    hash           bytea       NOT NULL CHECK (octet_length(hash) = 32),
    role           text        NOT NULL CHECK (role IN ('participant', 'assistant', 'instructor', 'owner')),
    participant_id uuid,
    class_id       uuid,
    expires_at     timestamptz NOT NULL,
    created_at     timestamptz NOT NULL DEFAULT now(),
    last_use_at    timestamptz,
    revoked_at     timestamptz,
    CONSTRAINT tokens_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT tokens_slug_key UNIQUE (kitchen_id, slug),
    CONSTRAINT tokens_hash_key UNIQUE (hash),
    -- A participant's token is bound to the participant and one class; others to neither.
    CONSTRAINT tokens_binding CHECK ((role = 'participant') = (participant_id IS NOT NULL)
                                 AND (role = 'participant') = (class_id IS NOT NULL)),
    CONSTRAINT tokens_participant_fkey FOREIGN KEY (kitchen_id, participant_id)
        REFERENCES participants (kitchen_id, id) ON DELETE CASCADE,
    CONSTRAINT tokens_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE
);

-- Who changed what, when: only ever added to.
CREATE TABLE audit_entries (
    kitchen_id uuid        NOT NULL,
    id         uuid        NOT NULL,
    at         timestamptz NOT NULL DEFAULT now(),
    caller     text        NOT NULL,
    role       text        NOT NULL,
    method     text        NOT NULL,
    resource   text        NOT NULL,
    request_id text        NOT NULL DEFAULT '',
    CONSTRAINT audit_entries_pkey PRIMARY KEY (kitchen_id, id)
);

-- +goose StatementBegin
CREATE FUNCTION refuse_audit_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the record is only ever added to'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'audit_entries_append_only';
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER audit_entries_append_only BEFORE UPDATE OR DELETE ON audit_entries
    FOR EACH ROW EXECUTE FUNCTION refuse_audit_change();

-- +goose Down
DROP TABLE audit_entries;
DROP FUNCTION refuse_audit_change;
DROP TABLE tokens;
