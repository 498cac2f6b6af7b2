-- +goose Up
CREATE TABLE equipment (
    kitchen_id   uuid        NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id           uuid        NOT NULL,
    slug         text        NOT NULL,
    display_name text        NOT NULL,
    kind         text        NOT NULL,
    -- Where it stands; null when it goes wherever it is needed.
    site_id      uuid,
    -- What it can do as a canner, for canners only.
    canner       jsonb,
    created_at   timestamptz NOT NULL DEFAULT now(),
    version      bigint      NOT NULL DEFAULT 1,
    CONSTRAINT equipment_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT equipment_slug_key UNIQUE (kitchen_id, slug),
    CONSTRAINT equipment_canners_have_details CHECK ((kind = 'canner') = (canner IS NOT NULL)),
    CONSTRAINT equipment_site_fkey FOREIGN KEY (kitchen_id, site_id) REFERENCES sites (kitchen_id, id)
);

CREATE INDEX equipment_by_kind ON equipment (kitchen_id, kind, slug);

-- One row for each piece owned: there are as many as the kitchen owns, so that a
-- reservation can hold no more than that.
CREATE TABLE equipment_units (
    kitchen_id   uuid    NOT NULL,
    equipment_id uuid    NOT NULL,
    unit_no      integer NOT NULL CHECK (unit_no >= 1),
    CONSTRAINT equipment_units_pkey PRIMARY KEY (kitchen_id, equipment_id, unit_no),
    CONSTRAINT equipment_units_equipment_fkey FOREIGN KEY (kitchen_id, equipment_id)
        REFERENCES equipment (kitchen_id, id) ON DELETE CASCADE
);

-- Come-ups as they were timed; rows are only added.
CREATE TABLE canner_come_ups (
    kitchen_id   uuid             NOT NULL,
    equipment_id uuid             NOT NULL,
    id           uuid             NOT NULL,
    observed_at  timestamptz      NOT NULL,
    method       text             NOT NULL,
    jar_size     text             NOT NULL,
    pack         text             NOT NULL CHECK (pack IN ('hot', 'raw')),
    jars         integer          NOT NULL CHECK (jars BETWEEN 0 AND 200),
    altitude_m   double precision NOT NULL CHECK (altitude_m BETWEEN -430 AND 9000),
    minutes      double precision NOT NULL CHECK (minutes > 0 AND minutes <= 240),
    CONSTRAINT canner_come_ups_pkey PRIMARY KEY (kitchen_id, equipment_id, id),
    CONSTRAINT canner_come_ups_equipment_fkey FOREIGN KEY (kitchen_id, equipment_id)
        REFERENCES equipment (kitchen_id, id) ON DELETE CASCADE
);

CREATE TABLE reservations (
    kitchen_id   uuid        NOT NULL,
    equipment_id uuid        NOT NULL,
    id           uuid        NOT NULL,
    slug         text        NOT NULL,
    class_id     uuid        NOT NULL,
    units        integer     NOT NULL CHECK (units >= 1),
    starts_at    timestamptz NOT NULL,
    ends_at      timestamptz NOT NULL,
    created_at   timestamptz NOT NULL DEFAULT now(),
    version      bigint      NOT NULL DEFAULT 1,
    CONSTRAINT reservations_pkey PRIMARY KEY (kitchen_id, equipment_id, id),
    CONSTRAINT reservations_slug_key UNIQUE (kitchen_id, equipment_id, slug),
    CONSTRAINT reservations_span_key UNIQUE (kitchen_id, equipment_id, id, starts_at, ends_at),
    CONSTRAINT reservations_span_is_forward CHECK (starts_at < ends_at),
    -- No cascade: what is reserved is not thrown out.
    CONSTRAINT reservations_equipment_fkey FOREIGN KEY (kitchen_id, equipment_id)
        REFERENCES equipment (kitchen_id, id),
    CONSTRAINT reservations_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE
);

CREATE INDEX reservations_by_class ON reservations (kitchen_id, class_id);
CREATE INDEX reservations_by_start ON reservations (kitchen_id, starts_at, id);

-- Which unit a reservation holds. The exclusion makes it impossible to promise one
-- unit to two classes at once; the unit must be one that is owned.
CREATE TABLE reservation_units (
    kitchen_id     uuid        NOT NULL,
    equipment_id   uuid        NOT NULL,
    reservation_id uuid        NOT NULL,
    unit_no        integer     NOT NULL,
    starts_at      timestamptz NOT NULL,
    ends_at        timestamptz NOT NULL,
    CONSTRAINT reservation_units_pkey PRIMARY KEY (kitchen_id, equipment_id, reservation_id, unit_no),
    CONSTRAINT reservation_units_unit_fkey FOREIGN KEY (kitchen_id, equipment_id, unit_no)
        REFERENCES equipment_units (kitchen_id, equipment_id, unit_no),
    CONSTRAINT reservation_units_reservation_fkey
        FOREIGN KEY (kitchen_id, equipment_id, reservation_id, starts_at, ends_at)
        REFERENCES reservations (kitchen_id, equipment_id, id, starts_at, ends_at) ON DELETE CASCADE ON UPDATE CASCADE,
    CONSTRAINT reservation_units_no_overlap EXCLUDE USING gist
        (kitchen_id WITH =, equipment_id WITH =, unit_no WITH =, tstzrange(starts_at, ends_at) WITH &&)
);

-- +goose Down
DROP TABLE reservation_units;
DROP TABLE reservations;
DROP TABLE canner_come_ups;
DROP TABLE equipment_units;
DROP TABLE equipment;
