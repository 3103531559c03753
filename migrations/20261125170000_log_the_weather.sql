-- The weather of a project: what was read, and what is foretold.
--
-- A reading is evidence, as a fact is: it is only ever added, and a wrong one is superseded with a
-- reason. An entry that another one names in supersedes does not count, whatever became of that
-- other one; an entry that supersedes and holds no values takes a reading away.

CREATE TABLE ambient_readings (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    spread text,
    location text,
    station text NOT NULL,
    read_at timestamptz NOT NULL,
    air_c double precision,
    relative_humidity_percent double precision,
    steel_c double precision,
    wind_m_s double precision,
    rain_mm double precision,
    note text,
    supersedes uuid,
    reason text,
    recorded_at timestamptz NOT NULL,
    recorded_by uuid NOT NULL,
    CONSTRAINT ambient_readings_key PRIMARY KEY (project_id, id),
    CONSTRAINT ambient_readings_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT ambient_readings_recorded_by_fkey FOREIGN KEY (recorded_by) REFERENCES users (id),
    CONSTRAINT ambient_readings_place_check CHECK ((spread IS NULL) <> (location IS NULL)),
    CONSTRAINT ambient_readings_reason_check CHECK ((supersedes IS NULL) = (reason IS NULL)),
    CONSTRAINT ambient_readings_air_c_check CHECK (air_c IS NOT NULL OR supersedes IS NOT NULL)
);
COMMENT ON TABLE ambient_readings IS
    'Air, humidity, steel, wind and rain at a spread, or where stock lies. Rows are only ever added.';
COMMENT ON COLUMN ambient_readings.station IS 'Which gauge or whose hand; empty where none is named.';
COMMENT ON COLUMN ambient_readings.air_c IS 'None where the entry only takes another one away.';
COMMENT ON COLUMN ambient_readings.steel_c IS 'The steel on its shaded side.';
COMMENT ON COLUMN ambient_readings.rain_mm IS 'Rain in the hour before.';
CREATE INDEX ambient_readings_spread_idx ON ambient_readings (project_id, spread, read_at, id)
    WHERE spread IS NOT NULL;
CREATE INDEX ambient_readings_location_idx ON ambient_readings (project_id, location, read_at, id)
    WHERE location IS NOT NULL;
CREATE INDEX ambient_readings_supersedes_idx ON ambient_readings (project_id, supersedes)
    WHERE supersedes IS NOT NULL;
CREATE TRIGGER ambient_readings_refuse_change BEFORE UPDATE OR DELETE ON ambient_readings
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER ambient_readings_refuse_truncate BEFORE TRUNCATE ON ambient_readings
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- Of two outlooks that tell the same hour of a spread the later issue is believed; both are kept.
CREATE TABLE ambient_outlooks (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    spread text NOT NULL,
    issued_at timestamptz NOT NULL,
    first_at timestamptz NOT NULL,
    last_at timestamptz NOT NULL,
    source text,
    hours jsonb NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by uuid NOT NULL,
    CONSTRAINT ambient_outlooks_key PRIMARY KEY (project_id, id),
    CONSTRAINT ambient_outlooks_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT ambient_outlooks_recorded_by_fkey FOREIGN KEY (recorded_by) REFERENCES users (id),
    CONSTRAINT ambient_outlooks_span_check CHECK (first_at <= last_at)
);
COMMENT ON TABLE ambient_outlooks IS 'An hourly forecast as it was issued. Rows are only ever added.';
COMMENT ON COLUMN ambient_outlooks.hours IS
    'The hours in rising order: at, air_c, relative_humidity_percent, wind_m_s, rain_mm.';
CREATE INDEX ambient_outlooks_spread_idx
    ON ambient_outlooks (project_id, spread, issued_at DESC, id DESC);
CREATE TRIGGER ambient_outlooks_refuse_change BEFORE UPDATE OR DELETE ON ambient_outlooks
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER ambient_outlooks_refuse_truncate BEFORE TRUNCATE ON ambient_outlooks
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- The facts that the weather is held against, by the time in the field.
CREATE INDEX facts_judged_by_weather_idx ON facts (project_id, occurred_at) INCLUDE (joint_id)
    WHERE kind IN ('surface_prepared', 'primed', 'profiled', 'wrapped', 'repaired', 'holiday_tested');

GRANT SELECT, INSERT ON ambient_readings, ambient_outlooks TO jointward_app;
GRANT SELECT ON ambient_readings, ambient_outlooks TO jointward_worker, jointward_reader;
-- A reading that arrives late can say that a release should not have been given.
GRANT UPDATE (contradicted_at, contradicted_by, contradiction) ON backfill_releases
    TO jointward_worker;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY['ambient_readings', 'ambient_outlooks'] LOOP
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
