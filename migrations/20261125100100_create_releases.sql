-- Signatures, backfill releases and nonconformances.

CREATE TABLE signing_challenges (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    user_id uuid NOT NULL,
    purpose text NOT NULL,
    nonce_hash bytea NOT NULL,
    subject jsonb NOT NULL,
    subject_hash bytea NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    used_at timestamptz,
    CONSTRAINT signing_challenges_key PRIMARY KEY (project_id, id),
    CONSTRAINT signing_challenges_nonce_hash_key UNIQUE (project_id, nonce_hash),
    CONSTRAINT signing_challenges_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT signing_challenges_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT signing_challenges_purpose_check CHECK (purpose IN ('backfill_release'))
);
COMMENT ON TABLE signing_challenges IS
    'What somebody was shown before signing. Good once, for five minutes, for that very subject.';

CREATE TABLE signatures (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    signer_id uuid NOT NULL,
    printed_name text NOT NULL,
    signed_at timestamptz NOT NULL,
    meaning text NOT NULL,
    auth_method text NOT NULL,
    challenge_id uuid NOT NULL,
    subject_hash bytea NOT NULL,
    CONSTRAINT signatures_key PRIMARY KEY (project_id, id),
    CONSTRAINT signatures_challenge_id_key UNIQUE (project_id, challenge_id),
    CONSTRAINT signatures_challenge_id_fkey FOREIGN KEY (project_id, challenge_id)
        REFERENCES signing_challenges (project_id, id),
    CONSTRAINT signatures_signer_id_fkey FOREIGN KEY (signer_id) REFERENCES users (id),
    CONSTRAINT signatures_auth_method_check CHECK (auth_method IN ('password'))
);
COMMENT ON TABLE signatures IS 'Who signed, when, and with what meaning. Rows are only ever added.';
CREATE TRIGGER signatures_refuse_change BEFORE UPDATE OR DELETE ON signatures
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

CREATE TABLE backfill_releases (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    joint_id uuid NOT NULL,
    holiday_test_id uuid NOT NULL,
    required_voltage_kv numeric(9, 6) NOT NULL,
    signature_id uuid NOT NULL,
    released_at timestamptz NOT NULL,
    chain_seq bigint NOT NULL,
    chain_head bytea NOT NULL,
    certificate jsonb NOT NULL,
    contradicted_at timestamptz,
    contradicted_by uuid,
    contradiction jsonb,
    CONSTRAINT backfill_releases_key PRIMARY KEY (project_id, id),
    CONSTRAINT backfill_releases_joint_id_fkey FOREIGN KEY (project_id, joint_id)
        REFERENCES joints (project_id, id),
    CONSTRAINT backfill_releases_holiday_test_id_fkey FOREIGN KEY (project_id, holiday_test_id)
        REFERENCES facts (project_id, id),
    CONSTRAINT backfill_releases_signature_id_fkey FOREIGN KEY (project_id, signature_id)
        REFERENCES signatures (project_id, id),
    CONSTRAINT backfill_releases_contradicted_check
        CHECK ((contradicted_at IS NULL) = (contradicted_by IS NULL))
);
COMMENT ON TABLE backfill_releases IS
    'Permissions to bury. Never erased: a later fact can mark one contradicted.';
COMMENT ON COLUMN backfill_releases.chain_head IS 'What was known of the joint when it was signed.';
COMMENT ON COLUMN backfill_releases.certificate IS 'Everything the certificate prints.';
-- One release in force per joint; it also finds the newest of a joint.
CREATE UNIQUE INDEX backfill_releases_in_force_key ON backfill_releases (project_id, joint_id)
    WHERE contradicted_at IS NULL;
CREATE INDEX backfill_releases_joint_id_idx ON backfill_releases (project_id, joint_id, released_at);

-- The last wall of the hold point, also against hand-written SQL: no release row without a passed
-- test at or over the required voltage, later than everything that coated or disturbed the joint,
-- made with a detector inside its calibration.
CREATE FUNCTION require_valid_holiday_test() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    test jsonb;
    test_at timestamptz;
    asked numeric;
    zone text;
BEGIN
    -- Whoever writes facts of this joint holds or waits for the same lock, so what the queries
    -- below see is what is true when the row is committed.
    SELECT j.required_voltage_kv, p.time_zone INTO asked, zone
      FROM joints j JOIN projects p ON p.id = j.project_id
     WHERE j.project_id = NEW.project_id AND j.id = NEW.joint_id
       FOR UPDATE OF j;
    SELECT convert_from(f.record, 'UTF8')::jsonb -> 'event', f.occurred_at INTO test, test_at
      FROM facts f
     WHERE f.project_id = NEW.project_id AND f.id = NEW.holiday_test_id
       AND f.joint_id = NEW.joint_id AND f.kind = 'holiday_tested'
       AND NOT EXISTS (SELECT FROM facts s WHERE s.project_id = f.project_id
                        AND s.joint_id = f.joint_id AND s.supersedes = f.id);
    IF test IS NULL OR test ->> 'result' <> 'pass'
       OR coalesce((test ->> 'holidays_found')::int, 0) > 0 THEN
        RAISE EXCEPTION 'joint % has no such passed holiday test', NEW.joint_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'backfill_releases_holiday_test_check';
    END IF;
    -- Held against each other by the volt, as the decision does.
    IF asked IS NULL OR round(NEW.required_voltage_kv, 3) < round(asked, 3)
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
    IF EXISTS (
        SELECT FROM facts f
         WHERE f.project_id = NEW.project_id AND f.joint_id = NEW.joint_id
           AND f.occurred_at >= test_at AND f.id <> NEW.holiday_test_id
           AND (f.kind IN ('weld_repaired', 'cut_out', 'surface_prepared', 'primed', 'profiled',
                           'wrapped', 'damage_found', 'repaired', 'excavated', 'peel_tested')
                OR (f.kind = 'holiday_tested'
                    AND (convert_from(f.record, 'UTF8')::jsonb -> 'event' ->> 'result' <> 'pass'
                         OR coalesce((convert_from(f.record, 'UTF8')::jsonb -> 'event'
                                      ->> 'holidays_found')::int, 0) > 0)))
           AND NOT (f.kind = 'peel_tested' AND convert_from(f.record, 'UTF8')::jsonb -> 'event'
                    ->> 'specimen' = 'coupon')
           AND NOT EXISTS (SELECT FROM facts s WHERE s.project_id = f.project_id
                            AND s.joint_id = f.joint_id AND s.supersedes = f.id)
    ) THEN
        RAISE EXCEPTION 'joint % was coated or disturbed after its holiday test', NEW.joint_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'backfill_releases_stale_test_check';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER backfill_releases_require_test BEFORE INSERT ON backfill_releases
    FOR EACH ROW EXECUTE FUNCTION require_valid_holiday_test();

-- A release changes once, from in force to contradicted; everything else of it stands.
CREATE FUNCTION only_contradict_release() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' OR OLD.contradicted_at IS NOT NULL
       OR (to_jsonb(NEW) - '{contradicted_at,contradicted_by,contradiction}'::text[])
          <> (to_jsonb(OLD) - '{contradicted_at,contradicted_by,contradiction}'::text[]) THEN
        RAISE EXCEPTION 'a release is never erased or changed; facts can contradict it, once'
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER backfill_releases_only_contradict BEFORE UPDATE OR DELETE ON backfill_releases
    FOR EACH ROW EXECUTE FUNCTION only_contradict_release();

CREATE TABLE nonconformances (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    number bigint NOT NULL,
    joint_id uuid NOT NULL,
    code text NOT NULL,
    event_id uuid,
    severity text NOT NULL,
    nature text NOT NULL,
    status text NOT NULL,
    opened_at timestamptz NOT NULL,
    opened_by uuid,
    closed_at timestamptz,
    closed_by uuid,
    closing_note text,
    closing_event_id uuid,
    version bigint NOT NULL DEFAULT 1,
    CONSTRAINT nonconformances_key PRIMARY KEY (project_id, id),
    CONSTRAINT nonconformances_number_key UNIQUE (project_id, number),
    CONSTRAINT nonconformances_joint_id_fkey FOREIGN KEY (project_id, joint_id)
        REFERENCES joints (project_id, id),
    CONSTRAINT nonconformances_severity_check CHECK (severity IN ('minor', 'major', 'critical')),
    CONSTRAINT nonconformances_status_check CHECK (status IN ('open', 'closed', 'lapsed'))
);
COMMENT ON COLUMN nonconformances.status IS
    'lapsed: it was opened by a finding that later facts took away before anybody decided on it.';
COMMENT ON COLUMN nonconformances.opened_by IS 'Null where a finding opened it by itself.';
CREATE UNIQUE INDEX nonconformances_finding_key ON nonconformances
    (project_id, joint_id, code, event_id) WHERE status <> 'lapsed';
CREATE INDEX nonconformances_open_idx ON nonconformances (project_id, joint_id)
    WHERE status = 'open';

CREATE TABLE warnings (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    kind text NOT NULL,
    subject text NOT NULL,
    severity text NOT NULL,
    detail text NOT NULL,
    raised_at timestamptz NOT NULL,
    updated_at timestamptz NOT NULL,
    cleared_at timestamptz,
    CONSTRAINT warnings_key PRIMARY KEY (project_id, id),
    CONSTRAINT warnings_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT warnings_severity_check CHECK (severity IN ('notice', 'urgent'))
);
COMMENT ON TABLE warnings IS 'Conditions that somebody must see; one open per kind and subject.';
CREATE UNIQUE INDEX warnings_open_key ON warnings (project_id, kind, subject)
    WHERE cleared_at IS NULL;
