-- Whoever asks for something in a project is looked up twice, as a person with a session and as a
-- member; the second only once the transaction has said who they are. Here both are one question,
-- which saves every request three round trips. It runs as the caller, behind the same policies.

CREATE FUNCTION admit(
    wanted_session uuid, wanted_user uuid, wanted_project uuid, wanted_code text, at timestamptz
)
RETURNS TABLE (
    user_name text, user_email text, user_is_administrator boolean,
    id uuid, code text, name text, time_zone text, units text, version bigint,
    setup_version bigint, created_by uuid, created_at timestamptz, role text
)
LANGUAGE plpgsql
AS $$
#variable_conflict use_column
BEGIN
    -- Local to the transaction, which is this statement where the caller has begun none.
    PERFORM set_config('app.user_id', wanted_user::text, true);
    RETURN QUERY
        SELECT u.name, u.email, u.is_administrator,
               p.id, p.code, p.name, p.time_zone, p.units, p.version,
               p.setup_version, p.created_by, p.created_at, m.role
          FROM sessions s
          JOIN users u ON u.id = s.user_id
          LEFT JOIN (projects p JOIN members m ON m.project_id = p.id AND m.user_id = wanted_user)
            ON p.id = wanted_project OR p.code = wanted_code
         WHERE s.id = wanted_session
           AND s.user_id = wanted_user
           AND s.ended_at IS NULL
           AND s.expires_at > at
           AND u.disabled_at IS NULL;
END
$$;
COMMENT ON FUNCTION admit IS
    'The holder of a session that is open, and the project if they are a member of it; no row '
    'where the session has ended.';
