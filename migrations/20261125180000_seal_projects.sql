-- Checkpoints: what binds the chains of a project to a moment. The key that signs them lies in a
-- file and never here.

CREATE TABLE checkpoints (
    project_id uuid NOT NULL,
    number bigint NOT NULL,
    day date NOT NULL,
    sealed_at timestamptz NOT NULL,
    signed bytea NOT NULL,
    hash bytea NOT NULL,
    signature bytea NOT NULL,
    public_key bytea NOT NULL,
    CONSTRAINT checkpoints_key PRIMARY KEY (project_id, number),
    CONSTRAINT checkpoints_day_key UNIQUE (project_id, day),
    CONSTRAINT checkpoints_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT checkpoints_number_check CHECK (number > 0),
    CONSTRAINT checkpoints_hash_check CHECK (octet_length(hash) = 32),
    CONSTRAINT checkpoints_signature_check CHECK (octet_length(signature) = 64),
    CONSTRAINT checkpoints_public_key_check CHECK (octet_length(public_key) = 32)
);
COMMENT ON TABLE checkpoints IS 'One a day and project. Rows are only ever added.';
COMMENT ON COLUMN checkpoints.day IS 'The day in the project''s zone.';
COMMENT ON COLUMN checkpoints.signed IS
    'Canonical JSON of the checkpoint, exactly the bytes that were signed.';
COMMENT ON COLUMN checkpoints.hash IS 'SHA-256 of signed; the next checkpoint names it.';

-- Most joints rest on most days, so a leaf is kept only where it is new or has changed. The leaf of
-- a joint at a checkpoint is the newest one up to it.
CREATE TABLE checkpoint_leaves (
    project_id uuid NOT NULL,
    joint_id uuid NOT NULL,
    number bigint NOT NULL,
    chain_seq bigint NOT NULL,
    chain_head bytea NOT NULL,
    CONSTRAINT checkpoint_leaves_key PRIMARY KEY (project_id, joint_id, number),
    CONSTRAINT checkpoint_leaves_number_fkey FOREIGN KEY (project_id, number)
        REFERENCES checkpoints (project_id, number),
    CONSTRAINT checkpoint_leaves_chain_head_check CHECK (octet_length(chain_head) = 32)
);
COMMENT ON TABLE checkpoint_leaves IS
    'The heads of joints that a checkpoint sealed. Rows are only ever added.';

-- Who took copies out of a project, and who looked into it without being a member.
CREATE TABLE read_audit (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    what text NOT NULL,
    subject text NOT NULL,
    rows bigint NOT NULL,
    user_id uuid,
    address text,
    request_id text,
    at timestamptz NOT NULL,
    CONSTRAINT read_audit_key PRIMARY KEY (project_id, id),
    CONSTRAINT read_audit_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT read_audit_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT read_audit_rows_check CHECK (rows >= 0)
);
COMMENT ON TABLE read_audit IS 'Exports, prints and downloads. Rows are only ever added.';
COMMENT ON COLUMN read_audit.user_id IS
    'None where it was done on the command line of the server, where nobody is signed in.';
COMMENT ON COLUMN read_audit.rows IS 'How many records left the project.';

-- Copies of whole projects that were asked for. They are made by a worker and fetched by whoever
-- asked, on whatever machine, so they wait here, for some days.
CREATE TABLE exports (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    status text NOT NULL,
    rows_done bigint NOT NULL DEFAULT 0,
    bytes bigint NOT NULL DEFAULT 0,
    sha256 bytea,
    failure text,
    created_at timestamptz NOT NULL,
    created_by uuid NOT NULL,
    finished_at timestamptz,
    CONSTRAINT exports_key PRIMARY KEY (project_id, id),
    CONSTRAINT exports_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT exports_created_by_fkey FOREIGN KEY (created_by) REFERENCES users (id),
    CONSTRAINT exports_status_check
        CHECK (status IN ('waiting', 'running', 'done', 'failed', 'expired')),
    CONSTRAINT exports_sha256_check CHECK (octet_length(sha256) = 32)
);
CREATE TABLE export_parts (
    project_id uuid NOT NULL,
    export_id uuid NOT NULL,
    part integer NOT NULL,
    bytes bytea NOT NULL,
    CONSTRAINT export_parts_key PRIMARY KEY (project_id, export_id, part),
    CONSTRAINT export_parts_export_id_fkey FOREIGN KEY (project_id, export_id)
        REFERENCES exports (project_id, id)
);

DO $$
DECLARE
    added text;
BEGIN
    FOREACH added IN ARRAY ARRAY['checkpoints', 'checkpoint_leaves', 'read_audit'] LOOP
        EXECUTE format('CREATE TRIGGER %I BEFORE UPDATE OR DELETE ON %I
                        FOR EACH ROW EXECUTE FUNCTION refuse_change()',
                       added || '_refuse_change', added);
        EXECUTE format('CREATE TRIGGER %I BEFORE TRUNCATE ON %I
                        FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()',
                       added || '_refuse_truncate', added);
    END LOOP;
END
$$;

GRANT SELECT ON checkpoints, checkpoint_leaves TO jointward_app, jointward_reader;
GRANT SELECT, INSERT ON checkpoints, checkpoint_leaves TO jointward_worker;
GRANT SELECT, INSERT ON read_audit TO jointward_app, jointward_worker;
GRANT SELECT ON read_audit, exports TO jointward_reader;
GRANT SELECT, INSERT ON exports TO jointward_app;
GRANT SELECT ON export_parts TO jointward_app;
GRANT SELECT, UPDATE ON exports TO jointward_worker;
GRANT SELECT, INSERT, DELETE ON export_parts TO jointward_worker;
-- A copy of a project holds its history.
GRANT SELECT ON setup_history TO jointward_worker;

-- The worker sees no accounts; it may ask for the name of one who recorded something.
CREATE FUNCTION printed_name(wanted uuid) RETURNS text LANGUAGE sql STABLE
    SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT name FROM users WHERE id = wanted
$$;
REVOKE EXECUTE ON FUNCTION printed_name(uuid) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION printed_name(uuid) TO jointward_worker, jointward_app;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY['checkpoints', 'checkpoint_leaves', 'read_audit', 'exports',
                                  'export_parts'] LOOP
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
-- The worker forgets old copies in all projects.
CREATE POLICY of_worker ON exports TO jointward_worker USING (true) WITH CHECK (true);
CREATE POLICY of_worker ON export_parts TO jointward_worker USING (true) WITH CHECK (true);
