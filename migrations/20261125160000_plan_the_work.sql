-- The working calendar and the production plan of a project, and what its outlook is made from.

ALTER TABLE setup_items DROP CONSTRAINT setup_items_kind_check;
ALTER TABLE setup_items ADD CONSTRAINT setup_items_kind_check CHECK (kind IN (
    'line_pipe',
    'spread',
    'crew',
    'section',
    'material',
    'lot',
    'coating_system',
    'inspection_plan',
    'person',
    'detector',
    'location',
    'working_calendar',
    'production_plan'
));

-- How many joints were made on which day: the first tape of each.
CREATE INDEX facts_wrapped_idx ON facts (project_id, joint_id, occurred_at) INCLUDE (id)
    WHERE kind = 'wrapped';
