-- Warnings carry the numbers behind their text, are acknowledged by people, and keep their history.

ALTER TABLE warnings
    ADD COLUMN "values" jsonb NOT NULL DEFAULT '{}',
    ADD COLUMN acknowledged_at timestamptz,
    ADD COLUMN acknowledged_by uuid,
    ADD COLUMN acknowledgement_note text,
    ADD CONSTRAINT warnings_acknowledged_by_fkey
        FOREIGN KEY (acknowledged_by) REFERENCES users (id),
    ADD CONSTRAINT warnings_acknowledged_check
        CHECK ((acknowledged_at IS NULL) = (acknowledged_by IS NULL)
               AND (acknowledged_at IS NULL) = (acknowledgement_note IS NULL));
COMMENT ON COLUMN warnings."values" IS 'The numbers behind `detail`, with their units in the names.';
COMMENT ON COLUMN warnings.updated_at IS
    'When its content or its state changed last; looking again and finding the same is no change.';
COMMENT ON COLUMN warnings.acknowledged_at IS
    'Somebody has it in hand. It stays open until its condition ends; should its severity rise, the
     acknowledgement is taken back.';
CREATE INDEX warnings_raised_at_idx ON warnings (project_id, raised_at, id);

CREATE TABLE warning_history (
    project_id uuid NOT NULL,
    warning_id uuid NOT NULL,
    n bigint NOT NULL GENERATED ALWAYS AS IDENTITY,
    action text NOT NULL,
    severity text NOT NULL,
    detail text NOT NULL,
    "values" jsonb NOT NULL,
    at timestamptz NOT NULL,
    by_user uuid,
    note text,
    CONSTRAINT warning_history_key PRIMARY KEY (project_id, warning_id, n),
    CONSTRAINT warning_history_warning_id_fkey
        FOREIGN KEY (project_id, warning_id) REFERENCES warnings (project_id, id),
    CONSTRAINT warning_history_by_user_fkey FOREIGN KEY (by_user) REFERENCES users (id),
    CONSTRAINT warning_history_action_check
        CHECK (action IN ('raised', 'updated', 'acknowledged', 'cleared'))
);
COMMENT ON TABLE warning_history IS
    'What a warning said when, and who had it in hand. Only ever added to.';
CREATE TRIGGER warning_history_refuse_change BEFORE UPDATE OR DELETE ON warning_history
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER warning_history_refuse_truncate BEFORE TRUNCATE ON warning_history
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- Of warnings from before this file, what is known.
ALTER TABLE warnings NO FORCE ROW LEVEL SECURITY;
INSERT INTO warning_history (project_id, warning_id, action, severity, detail, "values", at)
SELECT project_id, id, 'raised', severity, detail, "values", raised_at FROM warnings
 ORDER BY raised_at, id;
INSERT INTO warning_history (project_id, warning_id, action, severity, detail, "values", at)
SELECT project_id, id, 'cleared', severity, detail, "values", cleared_at FROM warnings
 WHERE cleared_at IS NOT NULL ORDER BY cleared_at, id;
ALTER TABLE warnings FORCE ROW LEVEL SECURITY;

GRANT SELECT, INSERT ON warning_history TO jointward_app, jointward_worker;
GRANT SELECT ON warning_history TO jointward_reader;

ALTER TABLE warning_history ENABLE ROW LEVEL SECURITY;
ALTER TABLE warning_history FORCE ROW LEVEL SECURITY;
CREATE POLICY of_project ON warning_history
    USING (project_id = (SELECT current_setting('app.project_id')::uuid))
    WITH CHECK (project_id = (SELECT current_setting('app.project_id')::uuid));
