-- +goose Up
-- Quantities are text as people write them ("2 kg", "1.75 oz"), checked before they are written: they must read
-- back exactly, which no binary fraction of a pound does.
CREATE TABLE offers (
    kitchen_id     uuid    NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id             uuid    NOT NULL,
    slug           text    NOT NULL,
    item           text    NOT NULL CHECK (item <> ''),
    label          text    NOT NULL DEFAULT '',
    shop           text    NOT NULL DEFAULT '',
    section        text    NOT NULL DEFAULT '',
    kind           text    NOT NULL CHECK (kind IN ('loose', 'each', 'bag', 'bunch', 'can', 'tube', 'bottle', 'case', 'box')),
    content        text    NOT NULL CHECK (content <> ''),
    -- The smallest quantity of loose goods; packs have none.
    step           text    NOT NULL DEFAULT '',
    average_weight text    NOT NULL DEFAULT '',
    price_minor    bigint  NOT NULL CHECK (price_minor BETWEEN 0 AND 1000000000),
    currency_code  text    NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    acidity        integer NOT NULL DEFAULT 0 CHECK (acidity BETWEEN 0 AND 1000),
    created_at     timestamptz NOT NULL DEFAULT now(),
    version        bigint  NOT NULL DEFAULT 1,
    CONSTRAINT offers_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT offers_slug_key UNIQUE (kitchen_id, slug),
    CONSTRAINT offers_step_of_loose_goods CHECK ((kind = 'loose') = (step <> ''))
);

CREATE INDEX offers_by_item ON offers (kitchen_id, item, slug);

CREATE TABLE stock_items (
    kitchen_id  uuid    NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id          uuid    NOT NULL,
    slug        text    NOT NULL,
    item        text    NOT NULL CHECK (item <> ''),
    content     text    NOT NULL CHECK (content <> ''),
    best_before date,
    used        boolean NOT NULL DEFAULT false,
    note        text    NOT NULL DEFAULT '',
    created_at  timestamptz NOT NULL DEFAULT now(),
    version     bigint  NOT NULL DEFAULT 1,
    CONSTRAINT stock_items_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT stock_items_slug_key UNIQUE (kitchen_id, slug)
);

CREATE INDEX stock_items_by_item ON stock_items (kitchen_id, item, slug);

-- A list is stored whole and never edited; a new computation is the next number.
CREATE TABLE shopping_lists (
    kitchen_id    uuid        NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id            uuid        NOT NULL,
    -- The class it is for; none for a list over several classes of the kitchen.
    class_id      uuid,
    number        integer     NOT NULL CHECK (number >= 1),
    -- What the instructor decided, the list without its lines, and the whole list. They are kept as written and
    -- read whole, so json serves better than jsonb: it neither rewrites a megabyte nor reorders it.
    settings      json        NOT NULL,
    summary       json        NOT NULL,
    document      json        NOT NULL,
    created_at    timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT shopping_lists_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT shopping_lists_number_key UNIQUE NULLS NOT DISTINCT (kitchen_id, class_id, number),
    CONSTRAINT shopping_lists_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE
);

-- +goose StatementBegin
CREATE FUNCTION refuse_shopping_list_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a shopping list never changes'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'shopping_lists_immutable';
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER shopping_lists_immutable BEFORE UPDATE ON shopping_lists
    FOR EACH ROW EXECUTE FUNCTION refuse_shopping_list_change();

-- +goose Down
DROP TABLE shopping_lists;
DROP FUNCTION refuse_shopping_list_change;
DROP TABLE stock_items;
DROP TABLE offers;
