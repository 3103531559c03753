-- One way of signing for whatever is signed: the purpose is part of the challenge, and a signature
-- is bound to what its challenge showed to that person, also where it is written by hand.

ALTER TABLE signing_challenges DROP CONSTRAINT signing_challenges_purpose_check;
ALTER TABLE signing_challenges ADD CONSTRAINT signing_challenges_purpose_check
    CHECK (purpose IN ('backfill_release', 'concession'));

CREATE FUNCTION require_own_challenge() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM signing_challenges c
                    WHERE c.project_id = NEW.project_id AND c.id = NEW.challenge_id
                      AND c.user_id = NEW.signer_id AND c.subject_hash = NEW.subject_hash) THEN
        RAISE EXCEPTION 'challenge % did not show this to the signer', NEW.challenge_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'signatures_subject_check';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER signatures_require_own_challenge BEFORE INSERT ON signatures
    FOR EACH ROW EXECUTE FUNCTION require_own_challenge();
