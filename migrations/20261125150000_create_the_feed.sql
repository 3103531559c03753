-- What has changed in a project, in one sequence without holes.
--
-- A number that is handed out when a row is written is not the order in which transactions become
-- visible: whoever reads on from the highest number seen loses the rows of a slower transaction for
-- ever. So numbers are given at the commit. A transaction puts its entries aside in `feed_pending`;
-- a deferred trigger moves them into `feed` as the last thing before the commit, under the lock of
-- the project's head, which therefore is held for the commit alone. What is rolled back, a savepoint
-- or all of it, takes its entries with it and uses up no number.

CREATE TABLE feed_heads (
    project_id uuid NOT NULL,
    seq bigint NOT NULL,
    CONSTRAINT feed_heads_key PRIMARY KEY (project_id),
    CONSTRAINT feed_heads_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT feed_heads_seq_check CHECK (seq > 0)
);
COMMENT ON TABLE feed_heads IS 'The newest number in the feed of each project.';

CREATE TABLE feed (
    project_id uuid NOT NULL,
    seq bigint NOT NULL,
    topic text NOT NULL,
    subject text NOT NULL,
    body jsonb NOT NULL,
    at timestamptz NOT NULL,
    CONSTRAINT feed_key PRIMARY KEY (project_id, seq)
);
COMMENT ON TABLE feed IS
    'Thin: what changed and where to read it. Kept 30 days; its head refers to the project for it.';
COMMENT ON COLUMN feed.subject IS 'What it is about, such as the number of a joint.';
CREATE TRIGGER feed_refuse_change BEFORE UPDATE ON feed
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER feed_refuse_truncate BEFORE TRUNCATE ON feed
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- No row of it outlives its transaction, so there is nothing that a crash could lose.
CREATE UNLOGGED TABLE feed_pending (
    project_id uuid NOT NULL,
    xact bigint NOT NULL DEFAULT (pg_current_xact_id()::text)::bigint,
    n bigint NOT NULL GENERATED ALWAYS AS IDENTITY,
    topic text NOT NULL,
    subject text NOT NULL,
    body jsonb NOT NULL,
    at timestamptz NOT NULL,
    once boolean NOT NULL DEFAULT false,
    CONSTRAINT feed_pending_key PRIMARY KEY (project_id, xact, n)
);
COMMENT ON TABLE feed_pending IS 'The entries of transactions that are under way.';
COMMENT ON COLUMN feed_pending.once IS
    'The last one of its topic and subject in a transaction says all: the ones before are left out.';

-- Runs as the owner: no role that serves or works can write a number by itself.
CREATE FUNCTION append_to_feed() RETURNS trigger LANGUAGE plpgsql
    SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    -- The row was let in by the policy of its own project; the transaction may have named another
    -- one since, which must not make its entries vanish.
    named text := current_setting('app.project_id', true);
BEGIN
    PERFORM set_config('app.project_id', NEW.project_id::text, true);
    -- The trigger fires for every row; the first time takes all of them, the others find none.
    WITH gone AS (
        DELETE FROM feed_pending WHERE project_id = NEW.project_id AND xact = NEW.xact
        RETURNING n, topic, subject, body, at, once
    ), aged AS (
        SELECT *, row_number() OVER (PARTITION BY topic, subject ORDER BY n DESC) AS age FROM gone
    ), kept AS (
        SELECT *, row_number() OVER (ORDER BY n) AS place FROM aged WHERE NOT once OR age = 1
    ), head AS (
        INSERT INTO feed_heads AS h (project_id, seq)
        SELECT NEW.project_id, count(*) FROM kept HAVING count(*) > 0
            ON CONFLICT (project_id) DO UPDATE SET seq = h.seq + excluded.seq
        RETURNING seq
    )
    INSERT INTO feed (project_id, seq, topic, subject, body, at)
    SELECT NEW.project_id, head.seq - (SELECT count(*) FROM kept) + place, topic, subject, body, at
      FROM kept, head;
    PERFORM set_config('app.project_id', coalesce(named, ''), true);
    RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER feed_pending_append AFTER INSERT ON feed_pending
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION append_to_feed();

GRANT INSERT ON feed_pending TO jointward_app, jointward_worker;
GRANT SELECT ON feed, feed_heads TO jointward_app, jointward_worker, jointward_reader;
GRANT DELETE ON feed TO jointward_worker;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY['feed_heads', 'feed', 'feed_pending'] LOOP
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

-- One look tells a process which of the projects that it watches have moved: numbers, no content.
CREATE POLICY of_watcher ON feed_heads FOR SELECT TO jointward_app, jointward_worker USING (true);
-- The worker forgets old entries in all projects.
CREATE POLICY of_worker ON feed TO jointward_worker USING (true);
