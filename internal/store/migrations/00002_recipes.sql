-- +goose Up
CREATE TABLE recipes (
    kitchen_id uuid        NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id         uuid        NOT NULL,
    slug       text        NOT NULL,
    title      text        NOT NULL,
    -- Key of the published recipe it was adopted from; empty for the kitchen's own.
    published_key text     NOT NULL DEFAULT '',
    created_at timestamptz NOT NULL DEFAULT now(),
    version    bigint      NOT NULL DEFAULT 1,
    CONSTRAINT recipes_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT recipes_slug_key UNIQUE (kitchen_id, slug)
);

-- A revision is a formula with its method and its source. It is written once:
-- the trigger below refuses every change to it, and a batch that uses it keeps
-- it from being deleted.
CREATE TABLE recipe_revisions (
    kitchen_id           uuid        NOT NULL,
    id                   uuid        NOT NULL,
    recipe_id            uuid        NOT NULL,
    number               integer     NOT NULL CHECK (number >= 1),
    document             jsonb       NOT NULL,
    -- The review as it was when the revision was kept.
    review               jsonb       NOT NULL DEFAULT '{}',
    -- Why its jars may not be put in a load; empty when they may.
    not_for_shelf_reason text        NOT NULL DEFAULT '',
    created_at           timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT recipe_revisions_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT recipe_revisions_number_key UNIQUE (kitchen_id, recipe_id, number),
    CONSTRAINT recipe_revisions_recipe_fkey FOREIGN KEY (kitchen_id, recipe_id)
        REFERENCES recipes (kitchen_id, id) ON DELETE CASCADE
);

-- +goose StatementBegin
CREATE FUNCTION refuse_revision_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a recipe revision never changes'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'recipe_revisions_immutable';
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER recipe_revisions_immutable BEFORE UPDATE ON recipe_revisions
    FOR EACH ROW EXECUTE FUNCTION refuse_revision_change();

-- +goose Down
DROP TABLE recipe_revisions;
DROP FUNCTION refuse_revision_change;
DROP TABLE recipes;
