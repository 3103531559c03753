-- Which lot is on which joint, by which fact: asked for every recall, so it is not dug out of the
-- records of all facts each time.

CREATE TABLE lot_uses (
    project_id uuid NOT NULL,
    fact_id uuid NOT NULL,
    lot text NOT NULL,
    joint_id uuid NOT NULL,
    quantity numeric(14, 3),
    CONSTRAINT lot_uses_key PRIMARY KEY (project_id, fact_id, lot),
    CONSTRAINT lot_uses_fact_id_fkey FOREIGN KEY (project_id, fact_id)
        REFERENCES facts (project_id, id),
    CONSTRAINT lot_uses_joint_id_fkey FOREIGN KEY (project_id, joint_id)
        REFERENCES joints (project_id, id),
    CONSTRAINT lot_uses_lot_check CHECK (char_length(lot) BETWEEN 1 AND 60),
    CONSTRAINT lot_uses_quantity_check CHECK (quantity > 0)
);
COMMENT ON TABLE lot_uses IS
    'The lots that facts name, written with the fact. Whether a fact still counts is not said here: '
    'it does not where another fact of its joint supersedes it.';
COMMENT ON COLUMN lot_uses.quantity IS
    'Base units of the material, where the fact says how much was used.';
CREATE INDEX lot_uses_lot_idx ON lot_uses (project_id, lot, joint_id, fact_id);
CREATE INDEX lot_uses_joint_id_idx ON lot_uses (project_id, joint_id, fact_id);
CREATE TRIGGER lot_uses_refuse_change BEFORE UPDATE OR DELETE ON lot_uses
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER lot_uses_refuse_truncate BEFORE TRUNCATE ON lot_uses
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- Corrections are few among the facts, and whether a use still counts is asked of each.
CREATE INDEX facts_supersedes_idx ON facts (project_id, joint_id, supersedes)
    WHERE supersedes IS NOT NULL;

-- What was recorded before. The owner of a table passes its row policies unless they are forced.
ALTER TABLE facts NO FORCE ROW LEVEL SECURITY;
INSERT INTO lot_uses (project_id, fact_id, lot, joint_id)
SELECT DISTINCT f.project_id, f.id, named.lot, f.joint_id
  FROM facts f
 CROSS JOIN jsonb_array_elements_text(
           convert_from(f.record, 'UTF8')::jsonb #> '{event,lots}') AS named (lot)
 WHERE f.kind IN ('primed', 'profiled', 'wrapped', 'repaired')
   -- A longer word is the code of no lot.
   AND char_length(named.lot) BETWEEN 1 AND 60;
ALTER TABLE facts FORCE ROW LEVEL SECURITY;

-- Facts whose consumption is not in the stock ledger yet. Facts recorded before there was a ledger
-- are not: what they took was never in it.
CREATE TABLE consumption_due (
    project_id uuid NOT NULL,
    fact_id uuid NOT NULL,
    joint_id uuid NOT NULL,
    CONSTRAINT consumption_due_key PRIMARY KEY (project_id, fact_id),
    CONSTRAINT consumption_due_fact_id_fkey FOREIGN KEY (project_id, fact_id)
        REFERENCES facts (project_id, id)
);
COMMENT ON TABLE consumption_due IS
    'Written with a fact that uses material or corrects one; deleted with what is posted for it.';

GRANT SELECT, INSERT ON lot_uses, consumption_due TO jointward_app;
-- Locking a row in order to take it needs UPDATE.
GRANT SELECT, UPDATE, DELETE ON consumption_due TO jointward_worker;
GRANT SELECT ON lot_uses TO jointward_worker;
-- After a recall the worker judges joints again. What is judged from their facts it may write, the
-- facts and what is folded from them not.
GRANT SELECT, INSERT, UPDATE ON nonconformances TO jointward_worker;
GRANT SELECT ON signatures TO jointward_worker;
GRANT UPDATE (stage, flags) ON joints TO jointward_worker;
GRANT SELECT ON lot_uses, consumption_due TO jointward_reader;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY['lot_uses', 'consumption_due'] LOOP
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
