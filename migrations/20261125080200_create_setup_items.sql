-- What a project is set up with: the line, materials, plans, people, instruments.

CREATE TABLE setup_items (
    project_id uuid NOT NULL,
    kind text NOT NULL,
    code text NOT NULL,
    version bigint NOT NULL,
    body jsonb NOT NULL,
    changed_by uuid NOT NULL,
    changed_at timestamptz NOT NULL,
    CONSTRAINT setup_items_pkey PRIMARY KEY (project_id, kind, code),
    CONSTRAINT setup_items_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT setup_items_changed_by_fkey FOREIGN KEY (changed_by) REFERENCES users (id),
    CONSTRAINT setup_items_version_check CHECK (version >= 1),
    CONSTRAINT setup_items_kind_check CHECK (kind IN (
        'line_pipe',
        'spread',
        'crew',
        'section',
        'material',
        'lot',
        'coating_system',
        'inspection_plan',
        'person',
        'detector'
    ))
);
COMMENT ON TABLE setup_items IS
    'Set-up items as they are now. All kinds share one table: they are few, read together, and '
    'judged in memory.';
COMMENT ON COLUMN setup_items.version IS 'Starts at 1; the entity tag of the item.';
COMMENT ON COLUMN setup_items.body IS 'The item as JSON, code included, as it was checked.';

CREATE TABLE setup_history (
    project_id uuid NOT NULL,
    kind text NOT NULL,
    code text NOT NULL,
    version bigint NOT NULL,
    body jsonb NOT NULL,
    changed_by uuid NOT NULL,
    changed_at timestamptz NOT NULL,
    CONSTRAINT setup_history_pkey PRIMARY KEY (project_id, kind, code, version),
    CONSTRAINT setup_history_item_fkey FOREIGN KEY (project_id, kind, code)
        REFERENCES setup_items (project_id, kind, code),
    CONSTRAINT setup_history_changed_by_fkey FOREIGN KEY (changed_by) REFERENCES users (id)
);
COMMENT ON TABLE setup_history IS
    'Every version of every set-up item: what a limit was, since when, and who set it.';

CREATE FUNCTION refuse_change() RETURNS trigger
LANGUAGE plpgsql
AS $$
BEGIN
    RAISE EXCEPTION '% of table % is refused: its rows are history', TG_OP, TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END
$$;
COMMENT ON FUNCTION refuse_change() IS
    'Trigger of the tables that only grow. The application never tries; this is for the rest.';

CREATE TRIGGER setup_history_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON setup_history
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
