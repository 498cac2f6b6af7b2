-- +goose Up
-- What is bought of a list already. A list itself never changes, so its ticks stand apart.
CREATE TABLE shopping_ticks (
    kitchen_id uuid        NOT NULL,
    list_id    uuid        NOT NULL,
    -- The line, by the item that is bought and the unit that the line is in.
    item       text        NOT NULL CHECK (item <> ''),
    unit       text        NOT NULL,
    ticked_at  timestamptz NOT NULL,
    CONSTRAINT shopping_ticks_pkey PRIMARY KEY (kitchen_id, list_id, item, unit),
    CONSTRAINT shopping_ticks_list_fkey FOREIGN KEY (kitchen_id, list_id)
        REFERENCES shopping_lists (kitchen_id, id) ON DELETE CASCADE
);

SELECT raise_wall('shopping_ticks');

-- +goose Down
DROP TABLE shopping_ticks;
