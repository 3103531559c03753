-- What the queue did, kept in tables of our own: the queue's own tables belong to a library, and
-- its rows are deleted some days after the job is done.

CREATE TABLE job_runs (
    id UUID NOT NULL CONSTRAINT job_runs_pkey PRIMARY KEY,
    job_id TEXT NOT NULL,
    queue TEXT NOT NULL,
    project_id UUID,
    attempt INTEGER NOT NULL CONSTRAINT job_runs_attempt_check CHECK (attempt > 0),
    worker TEXT NOT NULL,
    started_at TIMESTAMPTZ NOT NULL,
    finished_at TIMESTAMPTZ,
    outcome TEXT NOT NULL
        CONSTRAINT job_runs_outcome_check CHECK (outcome IN ('running', 'done', 'failed', 'dead')),
    counts JSONB NOT NULL DEFAULT '{}',
    error TEXT,
    CONSTRAINT job_runs_finished_at_check CHECK ((outcome = 'running') = (finished_at IS NULL))
);

COMMENT ON TABLE job_runs IS 'One row for every attempt at a job, from its start on.';
COMMENT ON COLUMN job_runs.id IS 'UUIDv7: the order of the ids is the order of the starts.';
COMMENT ON COLUMN job_runs.job_id IS
    'The job in the queue; no foreign key, because the queue forgets its jobs before we do.';
COMMENT ON COLUMN job_runs.queue IS 'The kind of job.';
COMMENT ON COLUMN job_runs.project_id IS 'The project the job works for; null for upkeep.';
COMMENT ON COLUMN job_runs.attempt IS 'Counted from 1.';
COMMENT ON COLUMN job_runs.worker IS 'Host, process and start of the worker that ran it.';
COMMENT ON COLUMN job_runs.started_at IS 'By the clock of the database.';
COMMENT ON COLUMN job_runs.finished_at IS 'Null as long as it runs.';
COMMENT ON COLUMN job_runs.outcome IS
    'running; done; failed: will be tried again; dead: given up, a person has to look at it.';
COMMENT ON COLUMN job_runs.counts IS 'What the run did, for people: {"rows": 120, "skipped": 2}.';
COMMENT ON COLUMN job_runs.error IS 'Why it failed or died.';

CREATE INDEX job_runs_job_id_idx ON job_runs (job_id);
CREATE INDEX job_runs_project_id_id_idx ON job_runs (project_id, id DESC);
-- The list a person looks at in the morning is short; so is its index.
CREATE INDEX job_runs_id_idx ON job_runs (id DESC) WHERE outcome = 'dead';

CREATE TABLE job_effects (
    job_id TEXT NOT NULL CONSTRAINT job_effects_pkey PRIMARY KEY,
    done_at TIMESTAMPTZ NOT NULL DEFAULT clock_timestamp()
);

COMMENT ON TABLE job_effects IS
    'Jobs whose effect is in the database, written in the transaction of that effect: the queue '
    'may run a job twice, its effect happens once.';
COMMENT ON COLUMN job_effects.job_id IS 'The job in the queue.';
COMMENT ON COLUMN job_effects.done_at IS 'By the clock of the database.';

CREATE INDEX job_effects_done_at_idx ON job_effects (done_at);

CREATE TABLE cron_runs (
    name TEXT NOT NULL,
    tick TIMESTAMPTZ NOT NULL,
    CONSTRAINT cron_runs_pkey PRIMARY KEY (name, tick)
);

COMMENT ON TABLE cron_runs IS
    'Ticks of schedules that have been taken; the primary key is what makes one of many processes '
    'take it, and no process take it twice when a clock goes back.';
COMMENT ON COLUMN cron_runs.name IS 'The name of the schedule.';
COMMENT ON COLUMN cron_runs.tick IS 'When it was due, not when it was taken.';
