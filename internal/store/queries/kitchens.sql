-- name: InsertKitchen :one
INSERT INTO kitchens (id, slug, display_name, currency_code)
VALUES (@id, @slug, @display_name, @currency_code)
RETURNING *;

-- name: GetKitchen :one
SELECT * FROM kitchens WHERE slug = @slug;

-- name: ListKitchens :many
SELECT * FROM kitchens WHERE slug > @after ORDER BY slug LIMIT @size;

-- name: UpdateKitchen :one
UPDATE kitchens
SET display_name = @display_name, currency_code = @currency_code, version = version + 1
WHERE id = @id AND version = @version
RETURNING *;

-- name: InsertSite :one
INSERT INTO sites (kitchen_id, id, slug, display_name, altitude_m, time_zone)
VALUES (@kitchen_id, @id, @slug, @display_name, @altitude_m, @time_zone)
RETURNING *;

-- name: GetSite :one
SELECT * FROM sites WHERE kitchen_id = @kitchen_id AND slug = @slug;

-- name: ListSites :many
SELECT * FROM sites WHERE kitchen_id = @kitchen_id AND slug > @after ORDER BY slug LIMIT @size;

-- name: UpdateSite :one
UPDATE sites
SET display_name = @display_name, altitude_m = @altitude_m, time_zone = @time_zone, version = version + 1
WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version
RETURNING *;

-- name: DeleteSite :execrows
DELETE FROM sites WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: InsertRequest :execrows
-- Waits for another transaction that holds the same request_id, then inserts nothing.
INSERT INTO requests (kitchen_id, request_id, method, fingerprint)
VALUES (@kitchen_id, @request_id, @method, @fingerprint)
ON CONFLICT DO NOTHING;

-- name: GetRequest :one
SELECT * FROM requests WHERE kitchen_id = @kitchen_id AND request_id = @request_id;

-- name: FinishRequest :exec
UPDATE requests SET response = @response, response_type = @response_type WHERE kitchen_id = @kitchen_id AND request_id = @request_id;
