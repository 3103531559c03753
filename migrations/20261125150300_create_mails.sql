-- E-mail to those who asked for it: urgent warnings at once, and a digest each morning.

CREATE TABLE notification_choices (
    project_id uuid NOT NULL,
    user_id uuid NOT NULL,
    urgent boolean NOT NULL,
    digest boolean NOT NULL,
    CONSTRAINT notification_choices_key PRIMARY KEY (project_id, user_id),
    CONSTRAINT notification_choices_user_id_fkey
        FOREIGN KEY (project_id, user_id) REFERENCES members (project_id, user_id)
        ON DELETE CASCADE
);
COMMENT ON TABLE notification_choices IS
    'Who wants to be written to. Whoever leaves the project is written to no more.';

CREATE TABLE mails (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    user_id uuid NOT NULL,
    kind text NOT NULL,
    about text NOT NULL,
    subject text NOT NULL,
    body text NOT NULL,
    status text NOT NULL DEFAULT 'pending',
    attempts integer NOT NULL DEFAULT 0,
    next_at timestamptz,
    failure text,
    created_at timestamptz NOT NULL,
    ended_at timestamptz,
    CONSTRAINT mails_key PRIMARY KEY (project_id, id),
    CONSTRAINT mails_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT mails_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT mails_about_key UNIQUE (project_id, user_id, kind, about),
    CONSTRAINT mails_kind_check CHECK (kind IN ('urgent', 'digest')),
    CONSTRAINT mails_status_check CHECK (status IN ('pending', 'sent', 'skipped', 'failed')),
    CONSTRAINT mails_next_at_check CHECK ((status = 'pending') = (next_at IS NOT NULL))
);
COMMENT ON COLUMN mails.about IS
    'What it is about, so that nobody is written to twice: a raising of a warning, or a day.';
COMMENT ON COLUMN mails.status IS 'Skipped: the server has nothing to send mail by.';
CREATE INDEX mails_next_at_idx ON mails (next_at) WHERE status = 'pending';
CREATE INDEX mails_created_at_idx ON mails (created_at);

CREATE TABLE digests (
    project_id uuid NOT NULL,
    on_day date NOT NULL,
    CONSTRAINT digests_key PRIMARY KEY (project_id, on_day),
    CONSTRAINT digests_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id)
);
COMMENT ON TABLE digests IS 'Days whose digest was made: one for each day in the project''s zone.';

-- The worker sees no accounts; it may ask for one address at a time, of somebody who may sign in.
CREATE FUNCTION mail_address(wanted uuid) RETURNS text LANGUAGE sql STABLE
    SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT email FROM users WHERE id = wanted AND disabled_at IS NULL
$$;
REVOKE EXECUTE ON FUNCTION mail_address(uuid) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION mail_address(uuid) TO jointward_worker;

GRANT SELECT, INSERT, UPDATE ON notification_choices TO jointward_app;
GRANT SELECT ON notification_choices TO jointward_worker;
GRANT SELECT, INSERT ON mails TO jointward_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON mails TO jointward_worker;
GRANT SELECT, INSERT ON digests TO jointward_worker;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY['notification_choices', 'mails', 'digests'] LOOP
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
-- The worker looks in all projects for what is due, and forgets what is old.
CREATE POLICY of_worker ON mails TO jointward_worker USING (true) WITH CHECK (true);
