-- Who signs in, on which devices, and the keys that sign their access tokens.
-- These tables are global: they hold nothing of any project.

CREATE TABLE users (
    id uuid NOT NULL,
    email text NOT NULL,
    name text NOT NULL,
    password_hash text NOT NULL,
    is_administrator boolean NOT NULL DEFAULT false,
    disabled_at timestamptz,
    created_at timestamptz NOT NULL,
    CONSTRAINT users_pkey PRIMARY KEY (id),
    CONSTRAINT users_email_key UNIQUE (email),
    CONSTRAINT users_email_check CHECK (email = lower(email) AND length(email) <= 254),
    CONSTRAINT users_name_check CHECK (length(name) BETWEEN 1 AND 200)
);
COMMENT ON TABLE users IS 'People who sign in. Never deleted: facts and signatures name them.';
COMMENT ON COLUMN users.email IS
    'Lower case, so that one person cannot hold two accounts by the case of a letter.';
COMMENT ON COLUMN users.password_hash IS 'PHC string; it names its own algorithm and costs.';
COMMENT ON COLUMN users.is_administrator IS
    'May create users and projects. It opens no project: that takes a membership.';
COMMENT ON COLUMN users.disabled_at IS 'Since when signing in and open sessions are refused.';

CREATE TABLE sessions (
    id uuid NOT NULL,
    user_id uuid NOT NULL,
    refresh_hash bytea NOT NULL,
    previous_hash bytea,
    created_at timestamptz NOT NULL,
    refreshed_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    ended_at timestamptz,
    CONSTRAINT sessions_pkey PRIMARY KEY (id),
    CONSTRAINT sessions_refresh_hash_key UNIQUE (refresh_hash),
    CONSTRAINT sessions_previous_hash_key UNIQUE (previous_hash),
    CONSTRAINT sessions_user_id_fkey FOREIGN KEY (user_id) REFERENCES users (id),
    CONSTRAINT sessions_refresh_hash_check CHECK (octet_length(refresh_hash) = 32),
    CONSTRAINT sessions_previous_hash_check CHECK (octet_length(previous_hash) = 32),
    CONSTRAINT sessions_expires_at_check CHECK (expires_at > created_at)
);
CREATE INDEX sessions_user_id_idx ON sessions (user_id) WHERE ended_at IS NULL;
COMMENT ON TABLE sessions IS 'One signed-in device each.';
COMMENT ON COLUMN sessions.refresh_hash IS
    'SHA-256 of the refresh token in force. The token is random, so a plain hash is enough.';
COMMENT ON COLUMN sessions.previous_hash IS
    'SHA-256 of the token before it. Whoever shows that one lost a reply, or stole it.';
COMMENT ON COLUMN sessions.refreshed_at IS 'When refresh_hash was last replaced.';
COMMENT ON COLUMN sessions.expires_at IS 'Absolute end; refreshing does not move it.';
COMMENT ON COLUMN sessions.ended_at IS 'Signed out, or ended because an old token was shown.';

CREATE TABLE setup_codes (
    code_hash bytea NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    used_at timestamptz,
    CONSTRAINT setup_codes_pkey PRIMARY KEY (code_hash),
    CONSTRAINT setup_codes_code_hash_check CHECK (octet_length(code_hash) = 32)
);
COMMENT ON TABLE setup_codes IS
    'One-time codes that make the first administrator: there is no default account.';
COMMENT ON COLUMN setup_codes.code_hash IS 'SHA-256 of the code.';

CREATE TABLE token_keys (
    kid text NOT NULL,
    pkcs8 bytea NOT NULL,
    created_at timestamptz NOT NULL,
    retired_at timestamptz,
    CONSTRAINT token_keys_pkey PRIMARY KEY (kid)
);
COMMENT ON TABLE token_keys IS
    'Keys that sign access tokens, shared by all servers on this database.';
COMMENT ON COLUMN token_keys.kid IS 'Key id, as in the header of the tokens it signed.';
COMMENT ON COLUMN token_keys.pkcs8 IS 'The private key. Whoever reads it can sign in as anybody.';
COMMENT ON COLUMN token_keys.retired_at IS
    'Signs nothing from then on; still verifies for one token lifetime.';
