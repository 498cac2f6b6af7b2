-- name: GetRevisionDocument :one
SELECT rv.document, rv.not_for_shelf_reason
FROM recipe_revisions rv
JOIN recipes r ON r.kitchen_id = rv.kitchen_id AND r.id = rv.recipe_id
WHERE rv.kitchen_id = @kitchen_id AND r.slug = @recipe_slug AND rv.number = @number;
