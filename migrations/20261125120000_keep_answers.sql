-- Requests that were answered, by the key that their sender gave them: the same request sent
-- again gets the same answer, and its effect happens once.

CREATE TABLE idempotency_keys (
    project_id uuid NOT NULL,
    user_id uuid NOT NULL,
    key text NOT NULL,
    fingerprint bytea NOT NULL,
    status integer NOT NULL,
    content_type text,
    location text,
    etag text,
    body bytea NOT NULL,
    answered_at timestamptz NOT NULL,
    CONSTRAINT idempotency_keys_pkey PRIMARY KEY (project_id, user_id, key),
    CONSTRAINT idempotency_keys_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT idempotency_keys_key_check CHECK (length(key) BETWEEN 1 AND 200),
    CONSTRAINT idempotency_keys_fingerprint_check CHECK (octet_length(fingerprint) = 32)
);
COMMENT ON TABLE idempotency_keys IS
    'Written in the transaction of the effect. Kept 30 days: a tablet can be away for a fortnight.';
COMMENT ON COLUMN idempotency_keys.project_id IS
    'Nil outside of any project; therefore there is no foreign key.';
CREATE INDEX idempotency_keys_answered_at_idx ON idempotency_keys (answered_at);
