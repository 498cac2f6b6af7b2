-- +goose Up
CREATE TABLE classes (
    kitchen_id           uuid        NOT NULL REFERENCES kitchens (id) ON DELETE CASCADE,
    id                   uuid        NOT NULL,
    slug                 text        NOT NULL,
    display_name         text        NOT NULL,
    site_id              uuid        NOT NULL,
    starts_at            timestamptz NOT NULL,
    duration_minutes     integer     NOT NULL CHECK (duration_minutes BETWEEN 15 AND 1440),
    capacity             integer     NOT NULL CHECK (capacity BETWEEN 1 AND 1000),
    -- Kept by the trigger on enrolments; the check is what makes overbooking impossible.
    places_taken         integer     NOT NULL DEFAULT 0,
    -- The next turn in the order of asking for a place; read and raised under the row's lock.
    next_turn            bigint      NOT NULL DEFAULT 1,
    handlers             integer     NOT NULL CHECK (handlers BETWEEN 1 AND 100),
    handling_minutes     integer     NOT NULL CHECK (handling_minutes BETWEEN 0 AND 60),
    hot_hold_max_minutes integer     NOT NULL CHECK (hot_hold_max_minutes BETWEEN 0 AND 240),
    live_session_at      timestamptz,
    live_session_minutes integer     NOT NULL DEFAULT 0 CHECK (live_session_minutes BETWEEN 0 AND 480),
    created_at           timestamptz NOT NULL DEFAULT now(),
    version              bigint      NOT NULL DEFAULT 1,
    CONSTRAINT classes_pkey PRIMARY KEY (kitchen_id, id),
    CONSTRAINT classes_slug_key UNIQUE (kitchen_id, slug),
    CONSTRAINT classes_capacity_holds CHECK (places_taken BETWEEN 0 AND capacity),
    CONSTRAINT classes_site_fkey FOREIGN KEY (kitchen_id, site_id) REFERENCES sites (kitchen_id, id)
);

CREATE INDEX classes_by_start ON classes (kitchen_id, starts_at, slug);

CREATE TABLE stations (
    kitchen_id   uuid    NOT NULL,
    class_id     uuid    NOT NULL,
    id           uuid    NOT NULL,
    slug         text    NOT NULL,
    display_name text    NOT NULL,
    position     integer NOT NULL CHECK (position >= 1),
    version      bigint  NOT NULL DEFAULT 1,
    CONSTRAINT stations_pkey PRIMARY KEY (kitchen_id, class_id, id),
    CONSTRAINT stations_slug_key UNIQUE (kitchen_id, class_id, slug),
    CONSTRAINT stations_position_key UNIQUE (kitchen_id, class_id, position),
    CONSTRAINT stations_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE
);

CREATE TABLE batches (
    kitchen_id  uuid    NOT NULL,
    class_id    uuid    NOT NULL,
    id          uuid    NOT NULL,
    slug        text    NOT NULL,
    station_id  uuid    NOT NULL,
    turn        integer NOT NULL CHECK (turn >= 1),
    revision_id uuid    NOT NULL,
    jar_size    text    NOT NULL CHECK (jar_size IN ('half_pint', 'pint', 'quart', 'ml_250', 'ml_500', 'l_1', 'twelve_ounce',
        'half_gallon', 'four_ounce', 'one_and_half_pint', 'twenty_four_ounce', 'twenty_eight_ounce')),
    jars        integer NOT NULL CHECK (jars BETWEEN 1 AND 200),
    may_split   boolean NOT NULL DEFAULT true,
    version     bigint  NOT NULL DEFAULT 1,
    CONSTRAINT batches_pkey PRIMARY KEY (kitchen_id, class_id, id),
    CONSTRAINT batches_slug_key UNIQUE (kitchen_id, class_id, slug),
    CONSTRAINT batches_turn_key UNIQUE (kitchen_id, class_id, station_id, turn),
    CONSTRAINT batches_station_fkey FOREIGN KEY (kitchen_id, class_id, station_id)
        REFERENCES stations (kitchen_id, class_id, id) ON DELETE CASCADE,
    -- No cascade: a revision that a batch uses cannot be deleted.
    CONSTRAINT batches_revision_fkey FOREIGN KEY (kitchen_id, revision_id)
        REFERENCES recipe_revisions (kitchen_id, id)
);

CREATE INDEX batches_by_revision ON batches (kitchen_id, revision_id);

CREATE TABLE enrolments (
    kitchen_id     uuid        NOT NULL,
    class_id       uuid        NOT NULL,
    id             uuid        NOT NULL,
    slug           text        NOT NULL,
    participant_id uuid        NOT NULL,
    state          text        NOT NULL CHECK (state IN ('enrolled', 'waiting', 'cancelled')),
    -- Order of asking; the waiting list is served by it.
    turn           bigint      NOT NULL,
    station_id     uuid,
    created_at     timestamptz NOT NULL DEFAULT now(),
    version        bigint      NOT NULL DEFAULT 1,
    CONSTRAINT enrolments_pkey PRIMARY KEY (kitchen_id, class_id, id),
    CONSTRAINT enrolments_slug_key UNIQUE (kitchen_id, class_id, slug),
    CONSTRAINT enrolments_turn_key UNIQUE (kitchen_id, class_id, turn),
    CONSTRAINT enrolments_class_fkey FOREIGN KEY (kitchen_id, class_id)
        REFERENCES classes (kitchen_id, id) ON DELETE CASCADE,
    CONSTRAINT enrolments_participant_fkey FOREIGN KEY (kitchen_id, participant_id)
        REFERENCES participants (kitchen_id, id) ON DELETE CASCADE,
    CONSTRAINT enrolments_station_fkey FOREIGN KEY (kitchen_id, class_id, station_id)
        REFERENCES stations (kitchen_id, class_id, id) ON DELETE SET NULL (station_id)
);

CREATE UNIQUE INDEX enrolments_one_place ON enrolments (kitchen_id, class_id, participant_id)
    WHERE state <> 'cancelled';
CREATE INDEX enrolments_by_participant ON enrolments (kitchen_id, participant_id);

-- +goose StatementBegin
CREATE FUNCTION count_places() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    change integer := 0;
BEGIN
    IF TG_OP <> 'INSERT' AND OLD.state = 'enrolled' THEN
        change := change - 1;
    END IF;
    IF TG_OP <> 'DELETE' AND NEW.state = 'enrolled' THEN
        change := change + 1;
    END IF;
    IF change <> 0 THEN
        UPDATE classes SET places_taken = places_taken + change
        WHERE kitchen_id = COALESCE(NEW.kitchen_id, OLD.kitchen_id) AND id = COALESCE(NEW.class_id, OLD.class_id);
    END IF;
    RETURN NULL;
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER enrolments_count_places AFTER INSERT OR UPDATE OF state OR DELETE ON enrolments
    FOR EACH ROW EXECUTE FUNCTION count_places();

-- +goose Down
DROP TABLE enrolments;
DROP FUNCTION count_places;
DROP TABLE batches;
DROP TABLE stations;
DROP TABLE classes;
