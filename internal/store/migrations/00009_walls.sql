-- +goose Up

-- Kitchens are walls. Every transaction of the service runs as stillroom_service, which
-- owns nothing and cannot bypass row-level security, and says which kitchen it is for in
-- the setting stillroom.kitchen; a row of another kitchen is not there for it, whatever
-- the query says. Two look-ups must come before the kitchen is known (a kitchen by its
-- name, a token by its hash); they set stillroom.scope to 'service' and may read just that.

-- +goose StatementBegin
DO $$
BEGIN
    BEGIN
        CREATE ROLE stillroom_service NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
    EXCEPTION
        -- Roles belong to the cluster: another database's migration may have made it, or be just making it.
        WHEN duplicate_object OR unique_violation THEN NULL;
        -- An administrator must make it; until then the walls hold by FORCE alone.
        WHEN insufficient_privilege THEN
            RAISE WARNING 'the role stillroom_service could not be made; have an administrator make it';
            RETURN;
    END;
    IF NOT pg_has_role(current_user, 'stillroom_service', 'MEMBER') THEN
        GRANT stillroom_service TO CURRENT_USER;
    END IF;
    GRANT USAGE ON SCHEMA public TO stillroom_service;
    GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO stillroom_service;
    GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO stillroom_service;
    REVOKE ALL ON goose_db_version FROM stillroom_service;
    REVOKE UPDATE, DELETE ON audit_entries FROM stillroom_service;
    ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO stillroom_service;
    ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO stillroom_service;
END;
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION this_kitchen() RETURNS uuid LANGUAGE sql STABLE AS $$
    SELECT NULLIF(current_setting('stillroom.kitchen', true), '')::uuid
$$;
-- +goose StatementEnd

-- A table that is added later gets its wall in its own migration: SELECT raise_wall('name').
-- +goose StatementBegin
CREATE FUNCTION raise_wall(name text) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', name);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', name);
    EXECUTE format('CREATE POLICY wall ON %I USING (kitchen_id = (SELECT this_kitchen())) WITH CHECK (kitchen_id = (SELECT this_kitchen()))', name);
END;
$$;
-- +goose StatementEnd

-- +goose StatementBegin
DO $$
DECLARE
    t text;
BEGIN
    FOR t IN SELECT c.relname FROM pg_class c
             JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'kitchen_id'
             WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r'
    LOOP
        PERFORM raise_wall(t);
    END LOOP;
END;
$$;
-- +goose StatementEnd

ALTER TABLE kitchens ENABLE ROW LEVEL SECURITY;
ALTER TABLE kitchens FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON kitchens
    USING (id = (SELECT this_kitchen()) OR current_setting('stillroom.scope', true) = 'service')
    WITH CHECK (id = (SELECT this_kitchen()) OR current_setting('stillroom.scope', true) = 'service');
CREATE POLICY found_by_hash ON tokens FOR SELECT
    USING (current_setting('stillroom.scope', true) = 'service');

-- +goose Down
DROP POLICY found_by_hash ON tokens;
DROP POLICY wall ON kitchens;
ALTER TABLE kitchens NO FORCE ROW LEVEL SECURITY;
ALTER TABLE kitchens DISABLE ROW LEVEL SECURITY;
-- +goose StatementBegin
DO $$
DECLARE
    t text;
BEGIN
    FOR t IN SELECT tablename FROM pg_policies WHERE schemaname = 'public' AND policyname = 'wall'
    LOOP
        EXECUTE format('DROP POLICY wall ON %I', t);
        EXECUTE format('ALTER TABLE %I NO FORCE ROW LEVEL SECURITY', t);
        EXECUTE format('ALTER TABLE %I DISABLE ROW LEVEL SECURITY', t);
    END LOOP;
END;
$$;
-- +goose StatementEnd
DROP FUNCTION raise_wall;
DROP FUNCTION this_kitchen;
