-- A clock that is a day ahead would put a holiday test after a damage that is found tomorrow. So the
-- last wall of the hold point also refuses a test that was recorded before it is said to have
-- happened; two minutes are what clocks may differ by, less than any repair takes. And what a record
-- does not say is no proof: a missing result or voltage refuses too.
CREATE OR REPLACE FUNCTION require_valid_holiday_test() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    test jsonb;
    test_at timestamptz;
    test_recorded_at timestamptz;
    asked numeric;
    zone text;
BEGIN
    -- Whoever writes facts of this joint holds or waits for the same lock, so what the queries
    -- below see is what is true when the row is committed.
    SELECT j.required_voltage_kv, p.time_zone INTO asked, zone
      FROM joints j JOIN projects p ON p.id = j.project_id
     WHERE j.project_id = NEW.project_id AND j.id = NEW.joint_id
       FOR UPDATE OF j;
    SELECT convert_from(f.record, 'UTF8')::jsonb -> 'event', f.occurred_at, f.recorded_at
      INTO test, test_at, test_recorded_at
      FROM facts f
     WHERE f.project_id = NEW.project_id AND f.id = NEW.holiday_test_id
       AND f.joint_id = NEW.joint_id AND f.kind = 'holiday_tested'
       AND NOT EXISTS (SELECT FROM facts s WHERE s.project_id = f.project_id
                        AND s.joint_id = f.joint_id AND s.supersedes = f.id);
    IF test IS NULL OR test ->> 'result' IS DISTINCT FROM 'pass'
       OR coalesce((test ->> 'holidays_found')::int, 0) > 0 THEN
        RAISE EXCEPTION 'joint % has no such passed holiday test', NEW.joint_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'backfill_releases_holiday_test_check';
    END IF;
    -- Held against each other by the volt, as the decision does.
    IF asked IS NULL OR round(NEW.required_voltage_kv, 3) < round(asked, 3)
       OR (test ->> 'voltage_kv') IS NULL
       OR round((test ->> 'voltage_kv')::numeric, 3) < round(asked, 3) THEN
        RAISE EXCEPTION 'the holiday test of joint % was made under the required % kV',
            NEW.joint_id, asked
            USING ERRCODE = 'check_violation', CONSTRAINT = 'backfill_releases_voltage_check';
    END IF;
    IF NOT EXISTS (
        SELECT FROM setup_items d,
               jsonb_to_recordset(d.body -> 'calibrations') AS c (valid_from date, valid_to date)
         WHERE d.project_id = NEW.project_id AND d.kind = 'detector'
           AND d.code = test ->> 'detector'
           AND (test_at AT TIME ZONE zone)::date BETWEEN c.valid_from AND c.valid_to
    ) THEN
        RAISE EXCEPTION 'the detector of the holiday test of joint % had no calibration',
            NEW.joint_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'backfill_releases_detector_check';
    END IF;
    IF test_at > test_recorded_at + interval '2 minutes' THEN
        RAISE EXCEPTION 'the holiday test of joint % is said to be of %, after it was recorded',
            NEW.joint_id, test_at
            USING ERRCODE = 'check_violation', CONSTRAINT = 'backfill_releases_test_time_check';
    END IF;
    IF EXISTS (
        SELECT FROM facts f
         WHERE f.project_id = NEW.project_id AND f.joint_id = NEW.joint_id
           AND f.occurred_at >= test_at AND f.id <> NEW.holiday_test_id
           AND (f.kind IN ('weld_repaired', 'cut_out', 'surface_prepared', 'primed', 'profiled',
                           'wrapped', 'damage_found', 'repaired', 'excavated', 'peel_tested')
                OR (f.kind = 'holiday_tested'
                    AND (convert_from(f.record, 'UTF8')::jsonb -> 'event' ->> 'result'
                        IS DISTINCT FROM 'pass'
                         OR coalesce((convert_from(f.record, 'UTF8')::jsonb -> 'event'
                                      ->> 'holidays_found')::int, 0) > 0)))
           AND NOT (f.kind = 'peel_tested' AND convert_from(f.record, 'UTF8')::jsonb -> 'event'
                    ->> 'specimen' IS NOT DISTINCT FROM 'coupon')
           AND NOT EXISTS (SELECT FROM facts s WHERE s.project_id = f.project_id
                            AND s.joint_id = f.joint_id AND s.supersedes = f.id)
    ) THEN
        RAISE EXCEPTION 'joint % was coated or disturbed after its holiday test', NEW.joint_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'backfill_releases_stale_test_check';
    END IF;
    RETURN NEW;
END
$$;

-- Nor are releases and signatures erased all at once.
CREATE TRIGGER backfill_releases_refuse_truncate BEFORE TRUNCATE ON backfill_releases
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER signatures_refuse_truncate BEFORE TRUNCATE ON signatures
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
