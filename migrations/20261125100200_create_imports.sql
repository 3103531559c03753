-- Uploaded files that a job reads: all of a file or nothing.

CREATE TABLE imports (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    kind text NOT NULL,
    validate_only boolean NOT NULL,
    status text NOT NULL,
    bytes_total bigint NOT NULL,
    next_part integer NOT NULL DEFAULT 0,
    carry bytea NOT NULL DEFAULT '',
    header text,
    delimiter text,
    rows_checked bigint NOT NULL DEFAULT 0,
    rows_wrong bigint NOT NULL DEFAULT 0,
    rows_stored bigint NOT NULL DEFAULT 0,
    created_at timestamptz NOT NULL,
    created_by uuid NOT NULL,
    finished_at timestamptz,
    CONSTRAINT imports_key PRIMARY KEY (project_id, id),
    CONSTRAINT imports_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT imports_created_by_fkey FOREIGN KEY (created_by) REFERENCES users (id),
    CONSTRAINT imports_kind_check CHECK (kind IN ('joint_register')),
    CONSTRAINT imports_status_check
        CHECK (status IN ('waiting', 'checking', 'valid', 'stored', 'refused'))
);
COMMENT ON COLUMN imports.next_part IS 'Where the next run goes on: parts before it are checked.';
COMMENT ON COLUMN imports.carry IS 'The unfinished last line of the parts before.';

CREATE TABLE import_parts (
    project_id uuid NOT NULL,
    import_id uuid NOT NULL,
    part integer NOT NULL,
    bytes bytea NOT NULL,
    CONSTRAINT import_parts_key PRIMARY KEY (project_id, import_id, part),
    CONSTRAINT import_parts_import_id_fkey FOREIGN KEY (project_id, import_id)
        REFERENCES imports (project_id, id)
);

CREATE TABLE import_rows (
    project_id uuid NOT NULL,
    import_id uuid NOT NULL,
    row_number bigint NOT NULL,
    joint_number text NOT NULL,
    entry jsonb NOT NULL,
    CONSTRAINT import_rows_key PRIMARY KEY (project_id, import_id, row_number)
);
COMMENT ON TABLE import_rows IS 'Checked rows that wait for the end of their file.';
CREATE INDEX import_rows_joint_number_idx ON import_rows (project_id, import_id, joint_number);

CREATE TABLE import_errors (
    project_id uuid NOT NULL,
    import_id uuid NOT NULL,
    row_number bigint NOT NULL,
    column_name text NOT NULL,
    code text NOT NULL,
    detail text NOT NULL,
    CONSTRAINT import_errors_key PRIMARY KEY (project_id, import_id, row_number, column_name, code)
);
