-- Nonconformances that people raise: of a joint, a lot, a crew from a time on, or a stretch of the
-- line; and what is said on them later.

ALTER TABLE nonconformances
    ALTER COLUMN joint_id DROP NOT NULL,
    ADD COLUMN lot text,
    ADD COLUMN crew text,
    ADD COLUMN since timestamptz,
    ADD COLUMN section text,
    ADD COLUMN from_mm bigint,
    ADD COLUMN to_mm bigint,
    ADD COLUMN evidence uuid[] NOT NULL DEFAULT '{}',
    ADD CONSTRAINT nonconformances_subject_check
        CHECK (num_nonnulls(joint_id, lot, crew, from_mm) = 1),
    ADD CONSTRAINT nonconformances_since_check CHECK ((crew IS NULL) = (since IS NULL)),
    ADD CONSTRAINT nonconformances_stretch_check CHECK (
        (from_mm IS NULL) = (to_mm IS NULL) AND from_mm <= to_mm
        AND (section IS NULL OR from_mm IS NOT NULL)),
    ADD CONSTRAINT nonconformances_raised_check CHECK (joint_id IS NOT NULL OR opened_by IS NOT NULL);
COMMENT ON COLUMN nonconformances.from_mm IS
    'The stretch, in whole millimetres as joints.kp_mm; both ends are in it.';
COMMENT ON COLUMN nonconformances.evidence IS 'The facts that whoever raised it pointed at.';

CREATE TABLE nonconformance_entries (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    nonconformance_id uuid NOT NULL,
    kind text NOT NULL,
    text text NOT NULL,
    written_by uuid NOT NULL,
    printed_name text NOT NULL,
    written_at timestamptz NOT NULL,
    CONSTRAINT nonconformance_entries_key PRIMARY KEY (project_id, id),
    CONSTRAINT nonconformance_entries_nonconformance_id_fkey
        FOREIGN KEY (project_id, nonconformance_id) REFERENCES nonconformances (project_id, id),
    CONSTRAINT nonconformance_entries_written_by_fkey FOREIGN KEY (written_by) REFERENCES users (id),
    CONSTRAINT nonconformance_entries_kind_check
        CHECK (kind IN ('containment', 'root_cause', 'action', 'verification'))
);
COMMENT ON TABLE nonconformance_entries IS
    'What was said on nonconformances. Rows are only ever added.';
CREATE INDEX nonconformance_entries_nonconformance_id_idx
    ON nonconformance_entries (project_id, nonconformance_id);
CREATE TRIGGER nonconformance_entries_refuse_change BEFORE UPDATE OR DELETE
    ON nonconformance_entries FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER nonconformance_entries_refuse_truncate BEFORE TRUNCATE
    ON nonconformance_entries FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

GRANT SELECT, INSERT ON nonconformance_entries TO jointward_app;
GRANT SELECT ON nonconformance_entries TO jointward_worker, jointward_reader;
ALTER TABLE nonconformance_entries ENABLE ROW LEVEL SECURITY;
ALTER TABLE nonconformance_entries FORCE ROW LEVEL SECURITY;
CREATE POLICY of_project ON nonconformance_entries
    USING (project_id = (SELECT current_setting('app.project_id')::uuid))
    WITH CHECK (project_id = (SELECT current_setting('app.project_id')::uuid));
