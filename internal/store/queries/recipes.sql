-- name: InsertRecipe :one
INSERT INTO recipes (kitchen_id, id, slug, title, published_key)
VALUES (@kitchen_id, @id, @slug, @title, @published_key)
RETURNING *;

-- name: GetRecipe :one
SELECT sqlc.embed(r), sqlc.embed(rv)
FROM recipes r
JOIN recipe_revisions rv ON rv.kitchen_id = r.kitchen_id AND rv.recipe_id = r.id
WHERE r.kitchen_id = @kitchen_id AND r.slug = @slug
ORDER BY rv.number DESC LIMIT 1;

-- name: LockRecipe :one
-- Numbers of revisions are given one after the other.
SELECT * FROM recipes WHERE kitchen_id = @kitchen_id AND slug = @slug FOR UPDATE;

-- name: ListRecipes :many
SELECT sqlc.embed(r), sqlc.embed(rv)
FROM recipes r
JOIN recipe_revisions rv ON rv.kitchen_id = r.kitchen_id AND rv.recipe_id = r.id
WHERE r.kitchen_id = @kitchen_id AND r.slug > @after
  AND rv.number = (SELECT max(n.number) FROM recipe_revisions n WHERE n.kitchen_id = r.kitchen_id AND n.recipe_id = r.id)
ORDER BY r.slug LIMIT @size;

-- name: UpdateRecipe :execrows
UPDATE recipes SET title = @title, version = version + 1
WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: DeleteRecipe :execrows
DELETE FROM recipes WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: InsertRevision :one
INSERT INTO recipe_revisions (kitchen_id, id, recipe_id, number, document, review, not_for_shelf_reason)
SELECT @kitchen_id, @id, @recipe_id, coalesce(max(n.number), 0) + 1, @document, @review, @not_for_shelf_reason
FROM recipe_revisions n WHERE n.kitchen_id = @kitchen_id AND n.recipe_id = @recipe_id
RETURNING *;

-- name: GetRevision :one
SELECT rv.* FROM recipe_revisions rv
JOIN recipes r ON r.kitchen_id = rv.kitchen_id AND r.id = rv.recipe_id
WHERE rv.kitchen_id = @kitchen_id AND r.slug = @recipe_slug AND rv.number = @number;

-- name: ListRevisions :many
SELECT rv.* FROM recipe_revisions rv
JOIN recipes r ON r.kitchen_id = rv.kitchen_id AND r.id = rv.recipe_id
WHERE rv.kitchen_id = @kitchen_id AND r.slug = @recipe_slug AND rv.number < @before
ORDER BY rv.number DESC LIMIT @size;
