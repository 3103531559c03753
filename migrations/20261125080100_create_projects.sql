-- Projects, and who may enter them.

CREATE TABLE projects (
    id uuid NOT NULL,
    code text NOT NULL,
    name text NOT NULL,
    time_zone text NOT NULL,
    units text NOT NULL,
    version bigint NOT NULL DEFAULT 1,
    setup_version bigint NOT NULL DEFAULT 0,
    created_by uuid NOT NULL,
    created_at timestamptz NOT NULL,
    CONSTRAINT projects_pkey PRIMARY KEY (id),
    CONSTRAINT projects_code_key UNIQUE (code),
    CONSTRAINT projects_created_by_fkey FOREIGN KEY (created_by) REFERENCES users (id),
    CONSTRAINT projects_code_check CHECK (length(code) BETWEEN 1 AND 40),
    CONSTRAINT projects_name_check CHECK (length(name) BETWEEN 1 AND 200),
    CONSTRAINT projects_units_check CHECK (units IN ('si', 'imperial'))
);
COMMENT ON TABLE projects IS
    'One construction contract each. Its id is the first column of every key of its tables.';
COMMENT ON COLUMN projects.code IS 'Short name in addresses; never the shape of a UUID.';
COMMENT ON COLUMN projects.time_zone IS
    'IANA name. Expiry and calibration are judged by the calendar day on site.';
COMMENT ON COLUMN projects.units IS 'What people read and print; stored values are SI.';
COMMENT ON COLUMN projects.version IS 'Goes up with every change of this row but setup_version.';
COMMENT ON COLUMN projects.setup_version IS
    'Goes up with every change of a set-up item. Equal versions mean equal set-up.';

CREATE TABLE members (
    project_id uuid NOT NULL,
    user_id uuid NOT NULL,
    role text NOT NULL,
    version bigint NOT NULL DEFAULT 1,
    CONSTRAINT members_pkey PRIMARY KEY (project_id, user_id),
    CONSTRAINT members_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT members_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT members_role_check CHECK (role IN (
        'site_coordinator',
        'material_controller',
        'qa_manager',
        'inspector',
        'crew_lead',
        'client_representative',
        'administrator'
    ))
);
COMMENT ON TABLE members IS
    'Who may enter a project, in which one role. No row: the project does not exist for them.';
