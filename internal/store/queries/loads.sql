-- name: InsertLoadPlan :one
-- The class row is locked by the caller, so numbers have no gaps and no twins.
INSERT INTO load_plans (kitchen_id, class_id, id, number, document, unprocessed, finish_minutes, optimal)
VALUES (@kitchen_id, @class_id, @id,
        (SELECT COALESCE(max(p.number), 0) + 1 FROM load_plans p WHERE p.kitchen_id = @kitchen_id AND p.class_id = @class_id),
        @document, @unprocessed, @finish_minutes, @optimal)
RETURNING number, created_at;

-- name: NextLoadPlanNumber :one
-- The class row is locked by the caller.
SELECT (COALESCE(max(p.number), 0) + 1)::integer AS number FROM load_plans p WHERE p.kitchen_id = @kitchen_id AND p.class_id = @class_id;

-- name: GetLoadPlan :one
SELECT p.number, p.document, p.created_at
FROM load_plans p JOIN classes c ON c.kitchen_id = p.kitchen_id AND c.id = p.class_id
WHERE p.kitchen_id = @kitchen_id AND c.slug = @class_slug AND p.number = @number;

-- name: ListLoadPlans :many
SELECT p.number, p.document, p.created_at
FROM load_plans p JOIN classes c ON c.kitchen_id = p.kitchen_id AND c.id = p.class_id
WHERE p.kitchen_id = @kitchen_id AND c.slug = @class_slug AND p.number < @before
ORDER BY p.number DESC
LIMIT @size;
