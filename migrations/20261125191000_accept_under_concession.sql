-- Use as is under concession: two people sign the same subject, and gates of one joint are open for
-- the reasons that were shown. The walls here are the last ones, also against hand-written SQL.

ALTER TABLE nonconformances ADD COLUMN disposition text;
ALTER TABLE nonconformances ADD CONSTRAINT nonconformances_disposition_check
    CHECK (disposition IN ('repair', 'rework', 'reject', 'use_as_is'));
COMMENT ON COLUMN nonconformances.disposition IS
    'What was decided; none where it was closed before the column was there.';

CREATE TABLE concessions (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    nonconformance_id uuid NOT NULL,
    joint_id uuid NOT NULL,
    chain_head bytea NOT NULL,
    gates text[] NOT NULL,
    waived jsonb NOT NULL,
    reason text NOT NULL,
    signature_id uuid NOT NULL,
    signer_role text NOT NULL,
    proposed_at timestamptz NOT NULL,
    CONSTRAINT concessions_key PRIMARY KEY (project_id, id),
    CONSTRAINT concessions_signature_id_key UNIQUE (project_id, signature_id),
    CONSTRAINT concessions_nonconformance_id_fkey FOREIGN KEY (project_id, nonconformance_id)
        REFERENCES nonconformances (project_id, id),
    CONSTRAINT concessions_joint_id_fkey FOREIGN KEY (project_id, joint_id)
        REFERENCES joints (project_id, id),
    CONSTRAINT concessions_signature_id_fkey FOREIGN KEY (project_id, signature_id)
        REFERENCES signatures (project_id, id),
    -- Never weld, layers, holiday_test, damage or freshness.
    CONSTRAINT concessions_gates_check CHECK (gates <@ ARRAY[
        'nonconformances', 'materials', 'people', 'conditions', 'overlap', 'thickness',
        'peel_tests']),
    CONSTRAINT concessions_waived_check CHECK (
        jsonb_typeof(waived) = 'array'
        AND NOT jsonb_path_exists(waived, '$[*] ? (!(
            @.gate == "materials" || @.gate == "people" || @.gate == "conditions"
            || @.gate == "overlap" || @.gate == "thickness" || @.gate == "peel_tests"))'))
);
COMMENT ON TABLE concessions IS
    'Proposed concessions, each signed by one person. In force once another has approved it.';
COMMENT ON COLUMN concessions.chain_head IS 'What was known of the joint when it was proposed.';
COMMENT ON COLUMN concessions.waived IS 'The reasons that were shown: gate, code, detail, evidence.';
CREATE INDEX concessions_joint_id_idx ON concessions (project_id, joint_id);
CREATE INDEX concessions_nonconformance_id_idx ON concessions (project_id, nonconformance_id);

CREATE TABLE concession_approvals (
    project_id uuid NOT NULL,
    concession_id uuid NOT NULL,
    signature_id uuid NOT NULL,
    signer_role text NOT NULL,
    approved_at timestamptz NOT NULL,
    CONSTRAINT concession_approvals_key PRIMARY KEY (project_id, concession_id),
    CONSTRAINT concession_approvals_signature_id_key UNIQUE (project_id, signature_id),
    CONSTRAINT concession_approvals_concession_id_fkey FOREIGN KEY (project_id, concession_id)
        REFERENCES concessions (project_id, id),
    CONSTRAINT concession_approvals_signature_id_fkey FOREIGN KEY (project_id, signature_id)
        REFERENCES signatures (project_id, id)
);
COMMENT ON TABLE concession_approvals IS 'The second signatures.';

CREATE FUNCTION require_concession_signature() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM signatures s
                     JOIN signing_challenges c
                       ON c.project_id = s.project_id AND c.id = s.challenge_id
                    WHERE s.project_id = NEW.project_id AND s.id = NEW.signature_id
                      AND c.purpose = 'concession') THEN
        RAISE EXCEPTION 'signature % is not one of a concession', NEW.signature_id
            USING ERRCODE = 'check_violation', CONSTRAINT = TG_TABLE_NAME || '_purpose_check';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER concessions_require_signature BEFORE INSERT ON concessions
    FOR EACH ROW EXECUTE FUNCTION require_concession_signature();
CREATE TRIGGER concession_approvals_require_signature BEFORE INSERT ON concession_approvals
    FOR EACH ROW EXECUTE FUNCTION require_concession_signature();

CREATE FUNCTION require_two_people() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    proposed concessions;
    signed signatures;
    seconded signatures;
    joint joints;
BEGIN
    SELECT * INTO proposed FROM concessions
     WHERE project_id = NEW.project_id AND id = NEW.concession_id;
    SELECT * INTO signed FROM signatures
     WHERE project_id = NEW.project_id AND id = proposed.signature_id;
    SELECT * INTO seconded FROM signatures
     WHERE project_id = NEW.project_id AND id = NEW.signature_id;
    -- Whoever writes facts of this joint holds or waits for the same lock.
    SELECT * INTO joint FROM joints
     WHERE project_id = NEW.project_id AND id = proposed.joint_id FOR UPDATE;
    IF signed.signer_id = seconded.signer_id THEN
        RAISE EXCEPTION 'who proposed concession % cannot approve it', NEW.concession_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'concession_approvals_person_check';
    END IF;
    IF signed.subject_hash <> seconded.subject_hash
       OR joint.chain_head <> proposed.chain_head THEN
        RAISE EXCEPTION 'the two signatures of concession % are not of the same', NEW.concession_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'concession_approvals_subject_check';
    END IF;
    IF NOT EXISTS (SELECT FROM members m
                    WHERE m.project_id = NEW.project_id AND m.role = 'qa_manager'
                      AND m.user_id IN (signed.signer_id, seconded.signer_id)) THEN
        RAISE EXCEPTION 'nobody of those who signed concession % is a QA manager',
            NEW.concession_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'concession_approvals_role_check';
    END IF;
    IF EXISTS (
        SELECT FROM jsonb_array_elements(joint.state #> '{coat,works}') AS work
         WHERE CASE WHEN work ->> 'applicator' IS NULL
                    THEN (work ->> 'recorded_by')::uuid
                    ELSE (SELECT (p.body ->> 'user')::uuid FROM setup_items p
                           WHERE p.project_id = NEW.project_id AND p.kind = 'person'
                             AND p.code = work ->> 'applicator')
               END IN (signed.signer_id, seconded.signer_id)
    ) THEN
        RAISE EXCEPTION 'who coated the joint signs no concession %', NEW.concession_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'concession_approvals_applicator_check';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER concession_approvals_require_two BEFORE INSERT ON concession_approvals
    FOR EACH ROW EXECUTE FUNCTION require_two_people();

-- Nothing is used as is by one person's word.
CREATE FUNCTION require_concession() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT EXISTS (
        SELECT FROM concessions c
          JOIN concession_approvals a ON a.project_id = c.project_id AND a.concession_id = c.id
         WHERE c.project_id = NEW.project_id AND c.nonconformance_id = NEW.id
    ) THEN
        RAISE EXCEPTION 'nonconformance % has no concession in force', NEW.id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'nonconformances_concession_check';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER nonconformances_require_concession BEFORE INSERT OR UPDATE ON nonconformances
    FOR EACH ROW WHEN (NEW.disposition = 'use_as_is') EXECUTE FUNCTION require_concession();

GRANT SELECT, INSERT ON concessions, concession_approvals TO jointward_app;
GRANT SELECT ON concessions, concession_approvals TO jointward_worker, jointward_reader;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY['concessions', 'concession_approvals'] LOOP
        EXECUTE format('CREATE TRIGGER %I BEFORE UPDATE OR DELETE ON %I
                        FOR EACH ROW EXECUTE FUNCTION refuse_change()',
                       tenant || '_refuse_change', tenant);
        EXECUTE format('CREATE TRIGGER %I BEFORE TRUNCATE ON %I
                        FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()',
                       tenant || '_refuse_truncate', tenant);
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
