-- Runs of jobs that are long over are deleted; and whoever serves requests may see which
-- migrations were applied, to say whether it fits the schema.

GRANT DELETE ON job_runs TO jointward_worker;
GRANT SELECT ON _sqlx_migrations TO jointward_app;
