-- Addresses to which the changes of a project are sent, and what became of each.

CREATE TABLE webhooks (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    url text NOT NULL,
    topics text[] NOT NULL,
    enabled boolean NOT NULL,
    disabled_reason text,
    secret bytea NOT NULL,
    previous_secret bytea,
    previous_until timestamptz,
    position bigint NOT NULL,
    asked_until timestamptz,
    version bigint NOT NULL DEFAULT 1,
    created_by uuid NOT NULL,
    created_at timestamptz NOT NULL,
    CONSTRAINT webhooks_key PRIMARY KEY (project_id, id),
    CONSTRAINT webhooks_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT webhooks_created_by_fkey FOREIGN KEY (created_by) REFERENCES users (id),
    CONSTRAINT webhooks_secret_check CHECK (octet_length(secret) BETWEEN 24 AND 64),
    CONSTRAINT webhooks_previous_check
        CHECK ((previous_secret IS NULL) = (previous_until IS NULL)),
    CONSTRAINT webhooks_disabled_check CHECK (NOT enabled OR disabled_reason IS NULL)
);
COMMENT ON COLUMN webhooks.topics IS 'Which topics of the feed; none means all.';
COMMENT ON COLUMN webhooks.secret IS
    'Kept as it is: a signature is made with it, so a hash would not do. Shown once.';
COMMENT ON COLUMN webhooks.previous_secret IS
    'Signs beside the new one for a day, so that a receiver can change over in between.';
COMMENT ON COLUMN webhooks.position IS 'The number up to which the feed was turned into deliveries.';
COMMENT ON COLUMN webhooks.asked_until IS
    'A job was asked for that has it in hand; should the job be lost, another one is asked for then.';

CREATE TABLE webhook_deliveries (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    webhook_id uuid NOT NULL,
    seq bigint NOT NULL,
    topic text NOT NULL,
    payload text NOT NULL,
    status text NOT NULL,
    attempts integer NOT NULL DEFAULT 0,
    next_at timestamptz,
    answered_status integer,
    failure text,
    created_at timestamptz NOT NULL,
    ended_at timestamptz,
    CONSTRAINT webhook_deliveries_key PRIMARY KEY (project_id, id),
    CONSTRAINT webhook_deliveries_webhook_id_fkey
        FOREIGN KEY (project_id, webhook_id) REFERENCES webhooks (project_id, id)
        ON DELETE CASCADE,
    CONSTRAINT webhook_deliveries_seq_key UNIQUE (project_id, webhook_id, seq),
    CONSTRAINT webhook_deliveries_status_check
        CHECK (status IN ('pending', 'delivered', 'failed')),
    CONSTRAINT webhook_deliveries_next_at_check
        CHECK ((status = 'pending') = (next_at IS NOT NULL))
);
COMMENT ON TABLE webhook_deliveries IS 'Kept 30 days, like the feed.';
COMMENT ON COLUMN webhook_deliveries.payload IS
    'The very bytes that are signed, the same at every attempt.';
CREATE INDEX webhook_deliveries_next_at_idx ON webhook_deliveries (project_id, webhook_id, next_at)
    WHERE status = 'pending';
CREATE INDEX webhook_deliveries_created_at_idx ON webhook_deliveries (created_at);

GRANT SELECT, INSERT, UPDATE, DELETE ON webhooks TO jointward_app;
GRANT SELECT, UPDATE ON webhook_deliveries TO jointward_app;
GRANT SELECT, UPDATE ON webhooks TO jointward_worker;
GRANT SELECT, INSERT, UPDATE, DELETE ON webhook_deliveries TO jointward_worker;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY['webhooks', 'webhook_deliveries'] LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', tenant);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', tenant);
        EXECUTE format($policy$
            CREATE POLICY of_project ON %I
            USING (project_id = (SELECT current_setting('app.project_id')::uuid))
            WITH CHECK (project_id = (SELECT current_setting('app.project_id')::uuid))
            $policy$, tenant);
        -- The worker looks in all projects for what is due, and forgets what is old.
        EXECUTE format('CREATE POLICY of_worker ON %I TO jointward_worker
                        USING (true) WITH CHECK (true)', tenant);
    END LOOP;
END
$$;
