-- +goose Up
-- Load plans: whole documents with what they were computed from, numbered within a
-- class and never changed.
CREATE TABLE load_plans (
    kitchen_id      uuid        NOT NULL,
    class_id        uuid        NOT NULL,
    id              uuid        NOT NULL,
    number          integer     NOT NULL CHECK (number >= 1),
    document        jsonb       NOT NULL,
    unprocessed     integer     NOT NULL CHECK (unprocessed >= 0),
    finish_minutes  integer     NOT NULL CHECK (finish_minutes >= 0),
    optimal         boolean     NOT NULL,
    created_at      timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT load_plans_pkey PRIMARY KEY (kitchen_id, class_id, id),
    CONSTRAINT load_plans_number_key UNIQUE (kitchen_id, class_id, number),
    CONSTRAINT load_plans_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE
);

-- +goose StatementBegin
CREATE FUNCTION refuse_load_plan_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a load plan never changes'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'load_plans_immutable';
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER load_plans_immutable BEFORE UPDATE ON load_plans
    FOR EACH ROW EXECUTE FUNCTION refuse_load_plan_change();

-- +goose Down
DROP TABLE load_plans;
DROP FUNCTION refuse_load_plan_change;
