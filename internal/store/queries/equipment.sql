-- name: InsertEquipment :exec
INSERT INTO equipment (kitchen_id, id, slug, display_name, kind, site_id, canner)
VALUES (@kitchen_id, @id, @slug, @display_name, @kind, sqlc.narg('site_id'), sqlc.narg('canner'));

-- name: GetEquipment :one
SELECT sqlc.embed(e), COALESCE(s.slug, '') AS site_slug,
       (SELECT count(*) FROM equipment_units u
        WHERE u.kitchen_id = e.kitchen_id AND u.equipment_id = e.id)::integer AS owned
FROM equipment e LEFT JOIN sites s ON s.kitchen_id = e.kitchen_id AND s.id = e.site_id
WHERE e.kitchen_id = @kitchen_id AND e.slug = @slug;

-- name: ListEquipment :many
SELECT sqlc.embed(e), COALESCE(s.slug, '') AS site_slug,
       (SELECT count(*) FROM equipment_units u
        WHERE u.kitchen_id = e.kitchen_id AND u.equipment_id = e.id)::integer AS owned
FROM equipment e LEFT JOIN sites s ON s.kitchen_id = e.kitchen_id AND s.id = e.site_id
WHERE e.kitchen_id = @kitchen_id AND e.slug > @after AND (@kind::text = '' OR e.kind = @kind::text)
ORDER BY e.slug
LIMIT @size;

-- name: LockEquipment :one
SELECT * FROM equipment WHERE kitchen_id = @kitchen_id AND slug = @slug FOR UPDATE;

-- name: UpdateEquipment :execrows
UPDATE equipment
SET display_name = @display_name, site_id = sqlc.narg('site_id'), canner = sqlc.narg('canner'), version = version + 1
WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: DeleteEquipment :execrows
DELETE FROM equipment WHERE kitchen_id = @kitchen_id AND slug = @slug AND version = @version;

-- name: CountUnits :one
SELECT count(*)::integer AS units FROM equipment_units WHERE kitchen_id = @kitchen_id AND equipment_id = @equipment_id;

-- name: AddUnits :exec
-- The lowest free numbers. The equipment row is locked by the caller; of any 2000 numbers no more than 1000 are taken.
INSERT INTO equipment_units (kitchen_id, equipment_id, unit_no)
SELECT @kitchen_id, @equipment_id, n FROM generate_series(1, 2000) n
WHERE NOT EXISTS (SELECT 1 FROM equipment_units u
                  WHERE u.kitchen_id = @kitchen_id AND u.equipment_id = @equipment_id AND u.unit_no = n)
ORDER BY n
LIMIT @missing;

-- name: RemovableUnits :many
-- Units that nothing holds now or later, the highest first.
SELECT u.unit_no FROM equipment_units u
WHERE u.kitchen_id = @kitchen_id AND u.equipment_id = @equipment_id
  AND NOT EXISTS (SELECT 1 FROM reservation_units r
                  WHERE r.kitchen_id = u.kitchen_id AND r.equipment_id = u.equipment_id AND r.unit_no = u.unit_no
                    AND r.ends_at > @now)
ORDER BY u.unit_no DESC
LIMIT @surplus;

-- name: ForgetUnitHistory :exec
DELETE FROM reservation_units
WHERE kitchen_id = @kitchen_id AND equipment_id = @equipment_id AND unit_no = ANY (@units::integer[]);

-- name: RemoveUnits :exec
DELETE FROM equipment_units
WHERE kitchen_id = @kitchen_id AND equipment_id = @equipment_id AND unit_no = ANY (@units::integer[]);

-- name: InsertComeUp :exec
INSERT INTO canner_come_ups (kitchen_id, equipment_id, id, observed_at, method, jar_size, pack, jars, altitude_m, minutes)
VALUES (@kitchen_id, @equipment_id, @id, @observed_at, @method, @jar_size, @pack, @jars, @altitude_m, @minutes);

-- name: TouchEquipment :exec
UPDATE equipment SET version = version + 1 WHERE kitchen_id = @kitchen_id AND id = @id;

-- name: ListComeUps :many
SELECT c.* FROM canner_come_ups c
WHERE c.kitchen_id = @kitchen_id AND c.equipment_id = ANY (@equipment_ids::uuid[])
ORDER BY c.equipment_id, c.observed_at, c.id;

-- name: FreeUnits :many
-- The equipment row is locked by the caller.
SELECT u.unit_no FROM equipment_units u
WHERE u.kitchen_id = @kitchen_id AND u.equipment_id = @equipment_id
  AND NOT EXISTS (SELECT 1 FROM reservation_units r
                  WHERE r.kitchen_id = u.kitchen_id AND r.equipment_id = u.equipment_id AND r.unit_no = u.unit_no
                    AND tstzrange(r.starts_at, r.ends_at) && tstzrange(@starts_at::timestamptz, @ends_at::timestamptz))
ORDER BY u.unit_no;

-- name: InsertReservation :exec
INSERT INTO reservations (kitchen_id, equipment_id, id, slug, class_id, units, starts_at, ends_at)
VALUES (@kitchen_id, @equipment_id, @id, @slug, @class_id, @units, @starts_at, @ends_at);

-- name: InsertReservationUnits :exec
INSERT INTO reservation_units (kitchen_id, equipment_id, reservation_id, unit_no, starts_at, ends_at)
SELECT @kitchen_id, @equipment_id, @reservation_id, unnest(@units::integer[]), @starts_at, @ends_at;

-- name: GetReservation :one
SELECT sqlc.embed(r), e.slug AS equipment_slug, c.slug AS class_slug,
       ARRAY(SELECT u.unit_no FROM reservation_units u
             WHERE u.kitchen_id = r.kitchen_id AND u.equipment_id = r.equipment_id AND u.reservation_id = r.id
             ORDER BY u.unit_no)::integer[] AS unit_numbers
FROM reservations r
JOIN equipment e ON e.kitchen_id = r.kitchen_id AND e.id = r.equipment_id
JOIN classes c ON c.kitchen_id = r.kitchen_id AND c.id = r.class_id
WHERE r.kitchen_id = @kitchen_id AND e.slug = @equipment_slug AND r.slug = @slug;

-- name: ListReservations :many
SELECT sqlc.embed(r), e.slug AS equipment_slug, c.slug AS class_slug,
       ARRAY(SELECT u.unit_no FROM reservation_units u
             WHERE u.kitchen_id = r.kitchen_id AND u.equipment_id = r.equipment_id AND u.reservation_id = r.id
             ORDER BY u.unit_no)::integer[] AS unit_numbers
FROM reservations r
JOIN equipment e ON e.kitchen_id = r.kitchen_id AND e.id = r.equipment_id
JOIN classes c ON c.kitchen_id = r.kitchen_id AND c.id = r.class_id
WHERE r.kitchen_id = @kitchen_id AND (@equipment_slug::text = '' OR e.slug = @equipment_slug::text)
  AND r.ends_at > @from_time
  AND (r.starts_at, e.slug, r.slug) > (@after_start::timestamptz, @after_equipment::text, @after_slug::text)
ORDER BY r.starts_at, e.slug, r.slug
LIMIT @size;

-- name: DeleteReservation :execrows
DELETE FROM reservations r
USING equipment e
WHERE r.kitchen_id = @kitchen_id AND e.kitchen_id = r.kitchen_id AND e.id = r.equipment_id
  AND e.slug = @equipment_slug AND r.slug = @slug AND r.version = @version;

-- name: EquipmentForClass :many
-- Every unit that stands at the class's site or goes anywhere, with the spans in which other classes hold it.
-- held_by is empty for a unit that nobody else holds.
SELECT sqlc.embed(e), u.unit_no, COALESCE(o.slug, '')::text AS held_by,
       COALESCE(r.starts_at, c.starts_at)::timestamptz AS held_from, COALESCE(r.ends_at, c.starts_at)::timestamptz AS held_until
FROM classes c
JOIN equipment e ON e.kitchen_id = c.kitchen_id AND (e.site_id IS NULL OR e.site_id = c.site_id)
JOIN equipment_units u ON u.kitchen_id = e.kitchen_id AND u.equipment_id = e.id
LEFT JOIN (reservation_units r
           JOIN reservations v ON v.kitchen_id = r.kitchen_id AND v.equipment_id = r.equipment_id AND v.id = r.reservation_id
           JOIN classes o ON o.kitchen_id = v.kitchen_id AND o.id = v.class_id)
    ON r.kitchen_id = u.kitchen_id AND r.equipment_id = u.equipment_id AND r.unit_no = u.unit_no
   AND v.class_id <> c.id
   AND tstzrange(r.starts_at, r.ends_at) && tstzrange(c.starts_at, c.starts_at + c.duration_minutes * interval '1 minute')
WHERE c.kitchen_id = @kitchen_id AND c.slug = @class_slug
ORDER BY e.slug, u.unit_no, r.starts_at;
