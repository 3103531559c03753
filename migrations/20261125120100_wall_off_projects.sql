-- The second wall: what the application forgets to ask, the database refuses.
--
-- Nobody works as the owner of the tables. Three roles hold what each kind of process needs, and
-- no more; and a row of a project is there only for a transaction that has named that project.

-- Roles belong to the whole server, so another database may have made them already, even at this
-- very moment.
DO $$
DECLARE
    wanted text;
BEGIN
    FOREACH wanted IN ARRAY ARRAY['jointward_app', 'jointward_worker', 'jointward_reader'] LOOP
        BEGIN
            EXECUTE format(
                'CREATE ROLE %I NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS', wanted);
        EXCEPTION
            WHEN duplicate_object OR unique_violation THEN NULL;
            WHEN insufficient_privilege THEN
                IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = wanted) THEN
                    RAISE EXCEPTION 'role % is missing and % may not create roles', wanted,
                        current_user
                        USING HINT = format('As a superuser: CREATE ROLE %I NOLOGIN; GRANT %I TO %I;',
                                            wanted, wanted, current_user);
                END IF;
        END;
        BEGIN
            EXECUTE format('GRANT %I TO %I', wanted, current_user);
        EXCEPTION
            -- Somebody else made the role, and granted it or not: connecting will tell.
            WHEN insufficient_privilege THEN NULL;
            WHEN unique_violation THEN NULL;
        END;
    END LOOP;
END
$$;

COMMENT ON SCHEMA public IS 'Jointward.';
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO jointward_app, jointward_worker, jointward_reader;

-- What serves requests. Facts, signatures and the history of the set-up: only ever added.
GRANT SELECT, INSERT ON facts, signatures, setup_history TO jointward_app;
GRANT SELECT, INSERT, UPDATE ON users, sessions, setup_codes, token_keys, password_resets,
    projects, setup_items, joints, signing_challenges, backfill_releases, nonconformances,
    warnings, imports, known_addresses TO jointward_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON members, sign_in_throttles TO jointward_app;
GRANT SELECT, INSERT ON idempotency_keys, import_parts TO jointward_app;
GRANT SELECT ON import_errors, job_runs TO jointward_app;

-- What works later. It signs nobody in and signs nothing.
GRANT SELECT ON projects, setup_items, facts, backfill_releases TO jointward_worker;
GRANT SELECT, INSERT ON joints, import_errors TO jointward_worker;
GRANT SELECT, INSERT, UPDATE ON warnings TO jointward_worker;
GRANT SELECT, UPDATE ON imports TO jointward_worker;
GRANT SELECT, DELETE ON import_parts, idempotency_keys, sessions, setup_codes, password_resets,
    sign_in_throttles, known_addresses TO jointward_worker;
GRANT SELECT, INSERT, DELETE ON import_rows, job_effects, cron_runs TO jointward_worker;
GRANT SELECT, INSERT, UPDATE ON job_runs TO jointward_worker;

-- What reads, such as a report: the work, not the people's secrets.
GRANT SELECT ON projects, members, setup_items, setup_history, joints, facts, signatures,
    backfill_releases, nonconformances, warnings, imports, import_errors, job_runs
    TO jointward_reader;

-- A row is there for the transaction that has named its project. One that has named none gets an
-- error, not all rows. The setting stands in a query of its own so that it is read once.
DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY[
        'setup_items', 'setup_history', 'joints', 'facts', 'signing_challenges', 'signatures',
        'backfill_releases', 'nonconformances', 'warnings', 'imports', 'import_parts',
        'import_rows', 'import_errors', 'idempotency_keys', 'job_runs'
    ] LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', tenant);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', tenant);
        EXECUTE format($policy$
            CREATE POLICY of_project ON %I
            USING (project_id = (SELECT current_setting('app.project_id')::uuid))
            WITH CHECK (project_id = (SELECT current_setting('app.project_id')::uuid))
            $policy$, tenant);
    END LOOP;
END
$$;

-- Who is where is asked before a project is named: then one sees oneself.
ALTER TABLE members ENABLE ROW LEVEL SECURITY;
ALTER TABLE members FORCE ROW LEVEL SECURITY;
CREATE POLICY of_project ON members
    USING (project_id = (SELECT nullif(current_setting('app.project_id', true), '')::uuid)
           OR user_id = (SELECT nullif(current_setting('app.user_id', true), '')::uuid))
    WITH CHECK (project_id = (SELECT current_setting('app.project_id')::uuid));

ALTER TABLE projects ENABLE ROW LEVEL SECURITY;
ALTER TABLE projects FORCE ROW LEVEL SECURITY;
CREATE POLICY of_project ON projects
    USING (id = (SELECT nullif(current_setting('app.project_id', true), '')::uuid)
           OR EXISTS (SELECT FROM members m
                       WHERE m.project_id = id
                         AND m.user_id
                             = (SELECT nullif(current_setting('app.user_id', true), '')::uuid)))
    WITH CHECK (id = (SELECT current_setting('app.project_id')::uuid));

-- The worker goes through the projects one by one, sees its own runs, and forgets old answers.
CREATE POLICY of_worker ON projects FOR SELECT TO jointward_worker USING (true);
CREATE POLICY of_worker ON job_runs TO jointward_worker USING (true) WITH CHECK (true);
CREATE POLICY of_worker ON idempotency_keys TO jointward_worker USING (true);
