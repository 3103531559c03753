-- The joints of a project and the facts recorded on them.
--
-- A joint row holds what the register says, the head of its chain and its folded state; the facts
-- hold everything that happened. The state can be rebuilt from the facts at any time, and
-- `jointward verify` does so.

CREATE TABLE joints (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    joint_number text NOT NULL,
    kp_m numeric(11, 3) NOT NULL,
    section text NOT NULL,
    spread text,
    kind text NOT NULL,
    register jsonb NOT NULL,
    chain_seq bigint NOT NULL DEFAULT 0,
    chain_head bytea NOT NULL,
    newest_at timestamptz,
    state jsonb NOT NULL,
    stage text NOT NULL,
    flags text[] NOT NULL DEFAULT '{}',
    required_voltage_kv numeric(9, 6),
    created_at timestamptz NOT NULL,
    CONSTRAINT joints_key PRIMARY KEY (project_id, id),
    CONSTRAINT joints_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT joints_joint_number_key UNIQUE (project_id, joint_number),
    CONSTRAINT joints_kind_check
        CHECK (kind IN ('mainline', 'tie_in', 'fitting', 'flange', 'cp_connection')),
    CONSTRAINT joints_stage_check
        CHECK (stage IN ('welded', 'accepted', 'prepared', 'primed', 'wrapped', 'tested',
                         'released', 'backfilled')),
    CONSTRAINT joints_chain_head_check CHECK (octet_length(chain_head) = 32)
);
COMMENT ON TABLE joints IS 'One girth weld and its field coating.';
COMMENT ON COLUMN joints.kp_m IS 'Kilometre point, metres from the start of the line.';
COMMENT ON COLUMN joints.register IS 'The whole line of the joint register.';
COMMENT ON COLUMN joints.chain_seq IS 'Number of facts; place of the newest one in the chain.';
COMMENT ON COLUMN joints.chain_head IS 'SHA-256 of the newest record; zeroes before the first.';
COMMENT ON COLUMN joints.newest_at IS 'Latest occurred_at of all facts: an earlier one is late.';
COMMENT ON COLUMN joints.state IS 'The fold of the facts.';
CREATE INDEX joints_kp_m_idx ON joints (project_id, kp_m, id);
CREATE INDEX joints_stage_idx ON joints (project_id, stage, kp_m, id);
CREATE INDEX joints_section_idx ON joints (project_id, section, kp_m, id);

CREATE TABLE facts (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    joint_id uuid NOT NULL,
    seq bigint NOT NULL,
    kind text NOT NULL,
    occurred_at timestamptz NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by uuid NOT NULL,
    supersedes uuid,
    late boolean NOT NULL,
    record bytea NOT NULL,
    hash bytea NOT NULL,
    CONSTRAINT facts_key PRIMARY KEY (project_id, id),
    CONSTRAINT facts_joint_id_seq_key UNIQUE (project_id, joint_id, seq),
    CONSTRAINT facts_joint_id_fkey FOREIGN KEY (project_id, joint_id)
        REFERENCES joints (project_id, id),
    CONSTRAINT facts_recorded_by_fkey FOREIGN KEY (recorded_by) REFERENCES users (id),
    CONSTRAINT facts_hash_check CHECK (octet_length(hash) = 32)
);
COMMENT ON TABLE facts IS 'What happened. Rows are only ever added.';
COMMENT ON COLUMN facts.record IS
    'Canonical JSON (RFC 8785) of the whole record, exactly the bytes that were hashed.';
COMMENT ON COLUMN facts.hash IS 'SHA-256 of record, which holds the hash of the record before.';
COMMENT ON COLUMN facts.late IS 'It happened before another fact that had already arrived.';

-- Facts never vanish or change, whoever asks.
CREATE TRIGGER facts_refuse_change BEFORE UPDATE OR DELETE ON facts
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER facts_refuse_truncate BEFORE TRUNCATE ON facts
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
