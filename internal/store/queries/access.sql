-- name: InsertToken :exec
INSERT INTO tokens (kitchen_id, id, slug, display_name, hash, role, participant_id, class_id, expires_at)
VALUES (@kitchen_id, @id, @slug, @display_name, @hash, @role,
        (SELECT p.id FROM participants p WHERE p.kitchen_id = @kitchen_id AND p.slug = sqlc.narg('participant')),
        (SELECT c.id FROM classes c WHERE c.kitchen_id = @kitchen_id AND c.slug = sqlc.narg('class')),
        @expires_at);

-- name: GetToken :one
SELECT sqlc.embed(t), COALESCE(p.slug, '') AS participant, COALESCE(c.slug, '') AS class
FROM tokens t
LEFT JOIN participants p ON p.kitchen_id = t.kitchen_id AND p.id = t.participant_id
LEFT JOIN classes c ON c.kitchen_id = t.kitchen_id AND c.id = t.class_id
WHERE t.kitchen_id = @kitchen_id AND t.slug = @slug;

-- name: ListTokens :many
SELECT sqlc.embed(t), COALESCE(p.slug, '') AS participant, COALESCE(c.slug, '') AS class
FROM tokens t
LEFT JOIN participants p ON p.kitchen_id = t.kitchen_id AND p.id = t.participant_id
LEFT JOIN classes c ON c.kitchen_id = t.kitchen_id AND c.id = t.class_id
WHERE t.kitchen_id = @kitchen_id AND t.slug > @after
ORDER BY t.slug
LIMIT @size;

-- name: RevokeToken :execrows
UPDATE tokens SET revoked_at = COALESCE(revoked_at, @at) WHERE kitchen_id = @kitchen_id AND slug = @slug;

-- name: FindToken :one
SELECT sqlc.embed(t), k.slug AS kitchen
FROM tokens t JOIN kitchens k ON k.id = t.kitchen_id
WHERE t.hash = @hash;

-- name: TouchToken :exec
UPDATE tokens SET last_use_at = @at WHERE kitchen_id = @kitchen_id AND id = @id;

-- name: InsertAuditEntry :exec
INSERT INTO audit_entries (kitchen_id, id, at, caller, role, method, resource, request_id)
VALUES (@kitchen_id, @id, @at, @caller, @role, @method, @resource, @request_id);

-- name: ListAuditEntries :many
SELECT * FROM audit_entries WHERE kitchen_id = @kitchen_id AND id < @before ORDER BY id DESC LIMIT @size;
