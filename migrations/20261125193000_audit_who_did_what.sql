-- Who did what, the newest first: every source of it is entered by its own time.

CREATE INDEX facts_recorded_at_idx ON facts (project_id, recorded_at);
-- Whoever recorded little would otherwise be looked for among the facts of everybody.
CREATE INDEX facts_recorded_by_idx ON facts (project_id, recorded_by, recorded_at);
CREATE INDEX setup_history_changed_at_idx ON setup_history (project_id, changed_at);
CREATE INDEX backfill_releases_released_at_idx ON backfill_releases (project_id, released_at);
CREATE INDEX backfill_releases_contradicted_at_idx ON backfill_releases (project_id, contradicted_at)
    WHERE contradicted_at IS NOT NULL;
CREATE INDEX nonconformances_opened_at_idx ON nonconformances (project_id, opened_at);
CREATE INDEX nonconformances_closed_at_idx ON nonconformances (project_id, closed_at)
    WHERE closed_at IS NOT NULL;
CREATE INDEX warning_history_acknowledged_idx ON warning_history (project_id, at)
    WHERE action = 'acknowledged';
CREATE INDEX stock_movements_recorded_at_idx ON stock_movements (project_id, recorded_at);
CREATE INDEX read_audit_at_idx ON read_audit (project_id, at);
-- What a project's people signed in to is found person by person.
CREATE INDEX sessions_created_at_idx ON sessions (user_id, created_at);
