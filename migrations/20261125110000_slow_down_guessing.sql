-- Guessing passwords is slowed down, per account and per address, and stopped for nobody for ever.

CREATE TABLE sign_in_throttles (
    subject_hash bytea NOT NULL,
    failures integer NOT NULL,
    failed_at timestamptz NOT NULL,
    open_at timestamptz NOT NULL,
    CONSTRAINT sign_in_throttles_pkey PRIMARY KEY (subject_hash),
    CONSTRAINT sign_in_throttles_subject_hash_check CHECK (octet_length(subject_hash) = 32),
    CONSTRAINT sign_in_throttles_failures_check CHECK (failures > 0)
);
COMMENT ON TABLE sign_in_throttles IS
    'Wrong passwords in a row. A right one, or a day without wrong ones, forgets them.';
COMMENT ON COLUMN sign_in_throttles.subject_hash IS
    'SHA-256 of an account, of an address, or of an account at one of its own addresses; an
     account that does not exist is counted too, so that the answers do not tell.';
COMMENT ON COLUMN sign_in_throttles.open_at IS 'Until then the password is not looked at.';
CREATE INDEX sign_in_throttles_failed_at_idx ON sign_in_throttles (failed_at);

CREATE TABLE known_addresses (
    user_id uuid NOT NULL,
    address_hash bytea NOT NULL,
    seen_at timestamptz NOT NULL,
    CONSTRAINT known_addresses_pkey PRIMARY KEY (user_id, address_hash),
    CONSTRAINT known_addresses_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT known_addresses_address_hash_check CHECK (octet_length(address_hash) = 32)
);
COMMENT ON TABLE known_addresses IS
    'Where somebody has signed in from. Guesses made elsewhere do not hold them up there.';

ALTER TABLE sessions ADD COLUMN device text,
    ADD CONSTRAINT sessions_device_check CHECK (length(device) <= 200);
COMMENT ON COLUMN sessions.device IS 'What the device said of itself, for the list of sessions.';

CREATE TABLE password_resets (
    code_hash bytea NOT NULL,
    user_id uuid NOT NULL,
    made_by uuid NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    used_at timestamptz,
    CONSTRAINT password_resets_pkey PRIMARY KEY (code_hash),
    CONSTRAINT password_resets_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT password_resets_made_by_fkey FOREIGN KEY (made_by) REFERENCES users (id),
    CONSTRAINT password_resets_code_hash_check CHECK (octet_length(code_hash) = 32)
);
COMMENT ON TABLE password_resets IS
    'One-time codes by which somebody who forgot their password sets a new one.';
