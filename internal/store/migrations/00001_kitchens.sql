-- +goose Up
CREATE EXTENSION IF NOT EXISTS btree_gist;
CREATE EXTENSION IF NOT EXISTS pg_trgm;

CREATE TABLE kitchens (
    id            uuid        NOT NULL,
    slug          text        NOT NULL,
    display_name  text        NOT NULL,
    currency_code text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    created_at    timestamptz NOT NULL DEFAULT now(),
    version       bigint      NOT NULL DEFAULT 1,
    CONSTRAINT kitchens_pkey PRIMARY KEY (id),
    CONSTRAINT kitchens_slug_key UNIQUE (slug)
);

-- First results of create calls, so that a retry with the same request_id gets
-- the same answer. kitchen_id is the nil UUID for the creation of a kitchen.
CREATE TABLE requests (
    kitchen_id  uuid        NOT NULL,
    request_id  uuid        NOT NULL,
    method      text        NOT NULL,
    fingerprint bytea       NOT NULL,
    response    bytea,
    created_at  timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT requests_pkey PRIMARY KEY (kitchen_id, request_id)
);

CREATE TABLE sites (
    kitchen_id   uuid             NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id           uuid             NOT NULL,
    slug         text             NOT NULL,
    display_name text             NOT NULL,
    altitude_m   double precision NOT NULL CHECK (altitude_m BETWEEN -430 AND 9000),
    time_zone    text             NOT NULL,
    created_at   timestamptz      NOT NULL DEFAULT now(),
    version      bigint           NOT NULL DEFAULT 1,
    CONSTRAINT sites_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT sites_slug_key UNIQUE (kitchen_id, slug)
);

CREATE TABLE participants (
    kitchen_id      uuid        NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id              uuid        NOT NULL,
    slug            text        NOT NULL,
    display_name    text        NOT NULL,
    email           text        NOT NULL DEFAULT '',
    phone           text        NOT NULL DEFAULT '',
    allergies       text        NOT NULL DEFAULT '',
    home_altitude_m double precision CHECK (home_altitude_m BETWEEN -430 AND 9000),
    created_at      timestamptz NOT NULL DEFAULT now(),
    version         bigint      NOT NULL DEFAULT 1,
    CONSTRAINT participants_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT participants_slug_key UNIQUE (kitchen_id, slug)
);

CREATE UNIQUE INDEX participants_email_key ON participants (kitchen_id, lower(email)) WHERE email <> '';

-- +goose Down
DROP TABLE participants;
DROP TABLE sites;
DROP TABLE requests;
DROP TABLE kitchens;
