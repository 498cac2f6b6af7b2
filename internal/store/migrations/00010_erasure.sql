-- +goose Up

-- When the person was erased: their name and contact are gone, what counts them stays. A name cannot come back.
ALTER TABLE participants ADD COLUMN erased_at timestamptz;
ALTER TABLE participants ADD CONSTRAINT participants_erased_holds CHECK (erased_at IS NULL OR
    (display_name = 'erased' AND email = '' AND phone = '' AND allergies = '' AND home_altitude_m IS NULL));

-- What message a stored reply is, so that a name can be taken out of it; empty where a program before this one wrote it.
ALTER TABLE requests ADD COLUMN response_type text NOT NULL DEFAULT '';

-- Lists, plans and the record never change, but for what erase_traces takes out. It runs as the owner of the
-- tables; the service's role may set what it likes and still changes nothing.
-- +goose StatementBegin
CREATE FUNCTION erasing() RETURNS boolean LANGUAGE sql STABLE AS $$
    SELECT COALESCE(current_setting('stillroom.erasing', true), '') = 'on' AND current_user <> 'stillroom_service'
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION refuse_shopping_list_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF erasing() AND (NEW.kitchen_id, NEW.id, NEW.number, NEW.created_at) = (OLD.kitchen_id, OLD.id, OLD.number, OLD.created_at)
       AND NEW.class_id IS NOT DISTINCT FROM OLD.class_id THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'a shopping list never changes'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'shopping_lists_immutable';
END;
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION refuse_load_plan_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF erasing() AND (NEW.kitchen_id, NEW.class_id, NEW.id, NEW.number, NEW.unprocessed, NEW.finish_minutes, NEW.optimal, NEW.created_at)
       = (OLD.kitchen_id, OLD.class_id, OLD.id, OLD.number, OLD.unprocessed, OLD.finish_minutes, OLD.optimal, OLD.created_at) THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'a load plan never changes'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'load_plans_immutable';
END;
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION refuse_audit_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' AND erasing() AND (NEW.kitchen_id, NEW.id, NEW.at, NEW.role, NEW.method, NEW.request_id)
       = (OLD.kitchen_id, OLD.id, OLD.at, OLD.role, OLD.method, OLD.request_id) THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'the record is only ever added to'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'audit_entries_append_only';
END;
$$;
-- +goose StatementEnd

-- The words by which a participant of this kitchen can be recognised. Those that anywhere is true for mean nobody
-- else: a full name that no other participant bears (distinctive: nor any table of the trade prints), an address, a
-- telephone number that nobody shares. Others are taken out only where the person is known to be meant.
-- +goose StatementBegin
CREATE FUNCTION traces_of(who uuid, distinctive boolean) RETURNS TABLE (word text, anywhere boolean) LANGUAGE sql STABLE AS $$
    WITH p AS (SELECT * FROM participants WHERE kitchen_id = this_kitchen() AND id = who),
         others AS (SELECT o.* FROM participants o WHERE o.kitchen_id = this_kitchen() AND o.id <> who)
    SELECT btrim(p.display_name), distinctive AND p.display_name ~ '\S\s+\S'
           AND NOT EXISTS (SELECT 1 FROM others o WHERE lower(btrim(o.display_name)) = lower(btrim(p.display_name)))
    FROM p WHERE btrim(p.display_name) <> '' AND p.erased_at IS NULL
    UNION ALL SELECT p.email, true FROM p WHERE p.email <> ''
    UNION ALL SELECT btrim(p.phone), length(regexp_replace(p.phone, '\D', '', 'g')) >= 7
           AND NOT EXISTS (SELECT 1 FROM others o WHERE btrim(o.phone) = btrim(p.phone))
    FROM p WHERE btrim(p.phone) <> ''
$$;
-- +goose StatementEnd

-- A pattern that finds any of some words, also as a part of others; within the text of a JSON document when quoted.
-- +goose StatementBegin
CREATE FUNCTION any_words(words text[], quoted boolean) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT '(?:' || string_agg(regexp_replace(regexp_replace(CASE WHEN quoted THEN btrim(to_jsonb(w)::text, '"') ELSE w END,
               '([].*+?^${}()|\\[])', '\\\1', 'g'), '\s+', '\\s+', 'g'), '|' ORDER BY length(w) DESC, w) || ')'
    FROM unnest(words) w
$$;
-- +goose StatementEnd

-- A pattern that finds any of some words, whole. Looking behind makes it slow: ask any_words first.
-- +goose StatementBegin
CREATE FUNCTION whole_words(words text[], quoted boolean) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN quoted THEN '(?:(?<![[:alnum:]])|(?<=\\[bfnrt]))' ELSE '(?<![[:alnum:]])' END
           || any_words(words, quoted) || '(?![[:alnum:]])'
$$;
-- +goose StatementEnd

-- Takes a participant of this kitchen out of it: their name, contact, allergies and home, the ids that somebody chose
-- for what is theirs, and the words above wherever text of the kitchen holds them. Numbers, times and references stay.
-- Left alone are recipes (a name in one is its source) and the stored replies, which are not text and which the service
-- rewrites. It gives each name of a resource that changed, former and now, within the kitchen.
-- +goose StatementBegin
CREATE FUNCTION erase_traces(who uuid, distinctive boolean, at timestamptz) RETURNS TABLE (former text, now_called text)
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    kitchen  uuid := this_kitchen();
    called   text := (SELECT k.slug FROM kitchens k WHERE k.id = this_kitchen());
    p        participants;
    formers  text[] := '{}';
    nows     text[] := '{}';
    words    text[];
    own      text;
    plain    text;
    in_json  text;
    glance   text;
    in_json_glance text;
    -- Case is folded as people do, whatever the locale of the database.
    fold     text := CASE WHEN EXISTS (SELECT 1 FROM pg_collation c WHERE c.collname = 'und-x-icu') THEN ' COLLATE "und-x-icu"' ELSE '' END;
    reworded uuid[] := '{}';
    more     uuid[];
    r        record;
BEGIN
    SELECT * INTO STRICT p FROM participants x WHERE x.kitchen_id = kitchen AND x.id = who FOR UPDATE;
    IF p.erased_at IS NOT NULL THEN
        RETURN;
    END IF;
    words := ARRAY(SELECT t.word FROM traces_of(who, distinctive) t);
    own := whole_words(words, false);
    words := ARRAY(SELECT t.word FROM traces_of(who, distinctive) t WHERE t.anywhere);
    plain := whole_words(words, false);
    in_json := whole_words(words, true);
    glance := any_words(words, false);
    in_json_glance := any_words(words, true);
    PERFORM set_config('stillroom.erasing', 'on', true);

    -- Ids that somebody chose may be names.
    FOR r IN
        SELECT 'participants/' || p.slug AS f, 'participants/' || p.id AS n WHERE p.slug <> p.id::text
        UNION ALL
        SELECT 'tokens/' || t.slug, 'tokens/' || t.id FROM tokens t
        WHERE t.kitchen_id = kitchen AND t.participant_id = who AND t.slug <> t.id::text
        UNION ALL
        SELECT 'classes/' || c.slug || '/enrolments/' || e.slug, 'classes/' || c.slug || '/enrolments/' || e.id
        FROM enrolments e JOIN classes c ON c.kitchen_id = e.kitchen_id AND c.id = e.class_id
        WHERE e.kitchen_id = kitchen AND e.participant_id = who AND e.slug <> e.id::text
        UNION ALL
        SELECT 'questions/' || q.slug, 'questions/' || q.id FROM questions q
        WHERE q.kitchen_id = kitchen AND q.asker_id = who AND q.slug <> q.id::text
    LOOP
        formers := formers || r.f;
        nows := nows || r.n;
    END LOOP;
    UPDATE tokens t SET slug = t.id::text, display_name = 'erased', revoked_at = COALESCE(t.revoked_at, at)
    WHERE t.kitchen_id = kitchen AND t.participant_id = who;
    UPDATE enrolments e SET slug = e.id::text WHERE e.kitchen_id = kitchen AND e.participant_id = who;
    UPDATE questions q SET slug = q.id::text WHERE q.kitchen_id = kitchen AND q.asker_id = who;
    UPDATE question_events e SET actor = p.id::text
    WHERE e.kitchen_id = kitchen AND e.actor = p.slug AND e.step IN ('ask', 'edit', 'endorse');
    FOR r IN SELECT f, n FROM unnest(formers, nows) x(f, n) LOOP
        UPDATE audit_entries a SET resource = 'kitchens/' || called || '/' || r.n
        WHERE a.kitchen_id = kitchen AND a.resource = 'kitchens/' || called || '/' || r.f;
        UPDATE audit_entries a SET caller = r.n WHERE a.kitchen_id = kitchen AND a.caller = r.f;
    END LOOP;

    -- What copied the person: who brings what, and whom a list is for.
    UPDATE shopping_lists l SET document = jsonb_set(l.document::jsonb, '{sheets}', (
        SELECT jsonb_agg(CASE WHEN s ->> 'participant' = p.slug THEN s || '{"name": "erased"}' ELSE s END ORDER BY n)
        FROM jsonb_array_elements(l.document::jsonb -> 'sheets') WITH ORDINALITY x(s, n)))::json
    WHERE l.kitchen_id = kitchen AND l.document::jsonb @> jsonb_build_object('sheets', jsonb_build_array(jsonb_build_object('participant', p.slug)));
    IF p.slug <> p.id::text THEN
        UPDATE shopping_lists l SET
            document = regexp_replace(l.document::jsonb::text, '("[Pp]articipant": ")' || p.slug || '"', '\1' || p.id || '"', 'g')::json,
            summary = regexp_replace(l.summary::jsonb::text, '("[Pp]articipant": ")' || p.slug || '"', '\1' || p.id || '"', 'g')::json,
            settings = regexp_replace(l.settings::jsonb::text, '("kitchens/' || called || '/participants/)' || p.slug || '"', '\1' || p.id || '"', 'g')::json
        WHERE l.kitchen_id = kitchen AND (l.document::jsonb::text ~ ('"[Pp]articipant": "' || p.slug || '"')
            OR position('/participants/' || p.slug || '"' IN l.settings::text) > 0);
    END IF;

    -- What the person wrote themselves, and what it was before.
    IF own IS NOT NULL THEN
        EXECUTE format('WITH changed AS (UPDATE questions SET topic = regexp_replace(topic%1$s, $1, ''erased'', ''gi''),
                body = regexp_replace(body%1$s, $1, ''erased'', ''gi''), answer = regexp_replace(answer%1$s, $1, ''erased'', ''gi''),
                version = version + 1
            WHERE kitchen_id = $2 AND asker_id = $3 AND concat_ws('' '', topic, body, answer)%1$s ~* $1 RETURNING id)
            SELECT array_agg(id) FROM changed', fold) INTO more USING own, kitchen, who;
        reworded := reworded || more;
        EXECUTE format('UPDATE question_events e SET former = regexp_replace(e.former%1$s, $1, ''erased'', ''gi'')
            FROM questions q WHERE q.kitchen_id = $2 AND q.asker_id = $3 AND e.kitchen_id = q.kitchen_id AND e.question_id = q.id
              AND e.step <> ''carry'' AND e.former%1$s ~* $1', fold) USING own, kitchen, who;
    END IF;

    -- Whatever else the kitchen wrote, in whichever table.
    IF plain IS NOT NULL THEN
        FOR r IN
            SELECT c.relname AS name,
                   string_agg(format(CASE WHEN a.atttypid = 'text'::regtype THEN '%1$I = regexp_replace(%1$I%2$s, $1, ''erased'', ''gi'')'
                       ELSE '%1$I = regexp_replace(%1$I::jsonb::text%2$s, $2, ''erased'', ''gi'')::%3$s' END,
                       a.attname, fold, a.atttypid::regtype), ', ' ORDER BY a.attnum) AS changes,
                   string_agg(format(CASE WHEN a.atttypid = 'text'::regtype THEN '(%1$I%2$s ~* $4 AND %1$I%2$s ~* $1)'
                       ELSE '(%1$I::jsonb::text%2$s ~* $5 AND %1$I::jsonb::text%2$s ~* $2)' END,
                       a.attname, fold), ' OR ' ORDER BY a.attnum) AS holds,
                   EXISTS (SELECT 1 FROM pg_attribute v WHERE v.attrelid = c.oid AND v.attname = 'version' AND NOT v.attisdropped) AS versioned
            FROM pg_class c
            JOIN pg_attribute k ON k.attrelid = c.oid AND k.attname = 'kitchen_id'
            JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped AND a.attgenerated = ''
                AND a.attname <> 'slug' AND a.atttypid IN ('text'::regtype, 'json'::regtype, 'jsonb'::regtype)
            WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r'
              AND c.relname NOT IN ('participants', 'recipes', 'recipe_revisions', 'requests', 'audit_entries')
            GROUP BY c.oid, c.relname ORDER BY c.relname
        LOOP
            IF r.name = 'questions' THEN
                EXECUTE format('WITH changed AS (UPDATE questions SET %s, version = version + 1 WHERE kitchen_id = $3 AND (%s) RETURNING id)
                    SELECT array_agg(id) FROM changed', r.changes, r.holds) INTO more USING plain, in_json, kitchen, glance, in_json_glance;
                reworded := reworded || more;
            ELSE
                EXECUTE format('UPDATE %I SET %s%s WHERE kitchen_id = $3 AND (%s)', r.name, r.changes,
                    CASE WHEN r.versioned THEN ', version = version + 1' ELSE '' END, r.holds) USING plain, in_json, kitchen, glance, in_json_glance;
            END IF;
        END LOOP;
    END IF;
    -- Those who watch the queue read these again.
    INSERT INTO question_events (kitchen_id, question_id, step, happened_at)
    SELECT DISTINCT kitchen, id, 'edit', at FROM (
        SELECT unnest(reworded) AS id UNION SELECT q.id FROM questions q WHERE q.kitchen_id = kitchen AND q.asker_id = who) x;

    UPDATE participants x SET slug = x.id::text, display_name = 'erased', email = '', phone = '', allergies = '',
        home_altitude_m = NULL, erased_at = at, version = x.version + 1
    WHERE x.kitchen_id = kitchen AND x.id = who;
    PERFORM set_config('stillroom.erasing', 'off', true);
    RETURN QUERY SELECT f, n FROM unnest(formers, nows) x(f, n);
END;
$$;
-- +goose StatementEnd

REVOKE ALL ON FUNCTION erase_traces FROM PUBLIC;
-- +goose StatementBegin
DO $$
BEGIN
    IF EXISTS (SELECT 1 FROM pg_roles WHERE rolname = 'stillroom_service') THEN
        GRANT EXECUTE ON FUNCTION erase_traces TO stillroom_service;
    END IF;
END;
$$;
-- +goose StatementEnd

-- +goose Down
DROP FUNCTION erase_traces;
DROP FUNCTION whole_words;
DROP FUNCTION any_words;
DROP FUNCTION traces_of;
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION refuse_audit_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the record is only ever added to'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'audit_entries_append_only';
END;
$$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION refuse_load_plan_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a load plan never changes'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'load_plans_immutable';
END;
$$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION refuse_shopping_list_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a shopping list never changes'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'shopping_lists_immutable';
END;
$$;
-- +goose StatementEnd
DROP FUNCTION erasing;
ALTER TABLE requests DROP COLUMN response_type;
ALTER TABLE participants DROP COLUMN erased_at;
