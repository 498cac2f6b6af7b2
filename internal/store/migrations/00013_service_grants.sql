-- +goose Up

-- What the service's role may do, in one place: migration 00009 stopped short of it where an administrator had made
-- the role, because whoever migrates may not make roles. A server calls this when the role has no rights.
-- +goose StatementBegin
CREATE FUNCTION grant_service() RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(7419, 13); -- servers that start at once
    GRANT USAGE ON SCHEMA public TO stillroom_service;
    GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO stillroom_service;
    GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO stillroom_service;
    GRANT EXECUTE ON FUNCTION erase_traces TO stillroom_service;
    REVOKE ALL ON goose_db_version FROM stillroom_service;
    REVOKE UPDATE, DELETE ON audit_entries FROM stillroom_service;
    ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO stillroom_service;
    ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO stillroom_service;
END;
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION grant_service FROM PUBLIC;

-- +goose Down
DROP FUNCTION grant_service;
