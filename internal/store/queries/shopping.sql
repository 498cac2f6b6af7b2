-- name: InsertOffer :one
INSERT INTO offers (kitchen_id, id, slug, item, label, shop, section, kind, content, step, average_weight,
                    price_minor, currency_code, acidity)
VALUES (@kitchen_id, @id, @slug, @item, @label, @shop, @section, @kind, @content, @step, @average_weight,
        @price_minor, @currency_code, @acidity)
RETURNING *;

-- name: GetOffer :one
SELECT * FROM offers WHERE kitchen_id = @kitchen_id AND slug = @slug;

-- name: ListOffers :many
SELECT * FROM offers
WHERE kitchen_id = @kitchen_id AND (item, slug) > (@after_item::text, @after_slug::text)
ORDER BY item, slug
LIMIT @size;

-- name: AllOffers :many
SELECT * FROM offers WHERE kitchen_id = @kitchen_id ORDER BY item, slug;

-- name: UpdateOffer :one
UPDATE offers
SET item = @item, label = @label, shop = @shop, section = @section, kind = @kind, content = @content, step = @step,
    average_weight = @average_weight, price_minor = @price_minor, currency_code = @currency_code, acidity = @acidity,
    version = version + 1
WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version
RETURNING *;

-- name: DeleteOffer :execrows
DELETE FROM offers WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: InsertStockItem :one
INSERT INTO stock_items (kitchen_id, id, slug, item, content, best_before, used, note)
VALUES (@kitchen_id, @id, @slug, @item, @content, sqlc.narg('best_before'), @used, @note)
RETURNING *;

-- name: GetStockItem :one
SELECT * FROM stock_items WHERE kitchen_id = @kitchen_id AND slug = @slug;

-- name: ListStockItems :many
SELECT * FROM stock_items
WHERE kitchen_id = @kitchen_id AND (item, slug) > (@after_item::text, @after_slug::text)
ORDER BY item, slug
LIMIT @size;

-- name: AllStockItems :many
SELECT * FROM stock_items WHERE kitchen_id = @kitchen_id ORDER BY item, slug;

-- name: UpdateStockItem :one
UPDATE stock_items
SET item = @item, content = @content, best_before = sqlc.narg('best_before'), used = @used, note = @note,
    version = version + 1
WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version
RETURNING *;

-- name: DeleteStockItem :execrows
DELETE FROM stock_items WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: ShoppingClasses :many
SELECT c.id, c.slug, c.display_name, to_char(c.starts_at AT TIME ZONE s.time_zone, 'YYYY-MM-DD')::text AS day
FROM classes c JOIN sites s ON s.kitchen_id = c.kitchen_id AND s.id = c.site_id
WHERE c.kitchen_id = @kitchen_id
  AND (cardinality(@slugs::text[]) = 0 OR c.slug = ANY (@slugs::text[]))
  AND (@from_day::text = '' OR to_char(c.starts_at AT TIME ZONE s.time_zone, 'YYYY-MM-DD') >= @from_day::text)
  AND (@to_day::text = '' OR to_char(c.starts_at AT TIME ZONE s.time_zone, 'YYYY-MM-DD') <= @to_day::text)
ORDER BY c.starts_at, c.slug;

-- name: ShoppingStations :many
SELECT class_id, id, slug, display_name FROM stations
WHERE kitchen_id = @kitchen_id AND class_id = ANY (@class_ids::uuid[])
ORDER BY class_id, position;

-- name: ShoppingPlaces :many
SELECT e.class_id, e.station_id, p.slug, p.display_name
FROM enrolments e JOIN participants p ON p.kitchen_id = e.kitchen_id AND p.id = e.participant_id
WHERE e.kitchen_id = @kitchen_id AND e.class_id = ANY (@class_ids::uuid[]) AND e.state = 'enrolled' AND e.station_id IS NOT NULL
ORDER BY e.class_id, e.turn;

-- name: ShoppingBatches :many
SELECT class_id, station_id, slug, revision_id, jar_size, jars FROM batches
WHERE kitchen_id = @kitchen_id AND class_id = ANY (@class_ids::uuid[])
ORDER BY class_id, station_id, turn;

-- name: ShoppingRevisions :many
SELECT rv.id, r.slug, r.title, rv.number, rv.document
FROM recipe_revisions rv JOIN recipes r ON r.kitchen_id = rv.kitchen_id AND r.id = rv.recipe_id
WHERE rv.kitchen_id = @kitchen_id AND rv.id = ANY (@ids::uuid[]);

-- name: LockKitchenForLists :exec
SELECT id FROM kitchens WHERE id = @id FOR NO KEY UPDATE;

-- name: InsertShoppingList :one
INSERT INTO shopping_lists (kitchen_id, id, class_id, number, settings, summary, document, created_at)
SELECT @kitchen_id, @id, sqlc.narg('class_id')::uuid, COALESCE(max(l.number), 0) + 1, @settings, @summary, @document, @created_at
FROM shopping_lists l
WHERE l.kitchen_id = @kitchen_id AND l.class_id IS NOT DISTINCT FROM sqlc.narg('class_id')::uuid
RETURNING number, created_at;

-- name: GetShoppingList :one
SELECT l.number, l.settings, l.document, l.created_at FROM shopping_lists l
WHERE l.kitchen_id = @kitchen_id
  AND l.class_id IS NOT DISTINCT FROM (SELECT c.id FROM classes c WHERE c.kitchen_id = @kitchen_id AND c.slug = @class_slug)
  AND (@number::integer = 0 OR l.number = @number::integer)
ORDER BY l.number DESC
LIMIT 1;

-- name: ListShoppingLists :many
SELECT l.number, l.settings, l.summary, l.created_at FROM shopping_lists l
WHERE l.kitchen_id = @kitchen_id
  AND l.class_id IS NOT DISTINCT FROM (SELECT c.id FROM classes c WHERE c.kitchen_id = @kitchen_id AND c.slug = @class_slug)
  AND (@before::integer = 0 OR l.number < @before::integer)
ORDER BY l.number DESC
LIMIT @size;

-- name: FindShoppingList :one
SELECT l.id, l.number FROM shopping_lists l
WHERE l.kitchen_id = @kitchen_id
  AND l.class_id IS NOT DISTINCT FROM (SELECT c.id FROM classes c WHERE c.kitchen_id = @kitchen_id AND c.slug = @class_slug)
  AND (@number::integer = 0 OR l.number = @number::integer)
ORDER BY l.number DESC
LIMIT 1;

-- name: TickShoppingLine :exec
INSERT INTO shopping_ticks (kitchen_id, list_id, item, unit, ticked_at) VALUES (@kitchen_id, @list_id, @item, @unit, @at)
ON CONFLICT ON CONSTRAINT shopping_ticks_pkey DO NOTHING;

-- name: UntickShoppingLine :exec
DELETE FROM shopping_ticks WHERE kitchen_id = @kitchen_id AND list_id = @list_id AND item = @item AND unit = @unit;

-- name: ListShoppingTicks :many
SELECT item, unit, ticked_at FROM shopping_ticks WHERE kitchen_id = @kitchen_id AND list_id = @list_id ORDER BY item, unit;
