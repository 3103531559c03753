-- The stock ledger: every quantity that moves, from one place to another, for ever.
--
-- What a place holds is the sum of what moved there less what left it. The sums are kept beside
-- the movements by a trigger, so that no statement can move stock without them, and a check
-- refuses a physical place less than nothing, whoever asks.

ALTER TABLE setup_items DROP CONSTRAINT setup_items_kind_check;
ALTER TABLE setup_items ADD CONSTRAINT setup_items_kind_check CHECK (kind IN (
    'line_pipe', 'spread', 'crew', 'section', 'material', 'lot', 'coating_system',
    'inspection_plan', 'person', 'detector', 'location'
));

CREATE TABLE deliveries (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    material text NOT NULL,
    quantity numeric(14, 3) NOT NULL,
    expected_on date NOT NULL,
    ordered_on date,
    supplier text,
    status text NOT NULL DEFAULT 'expected',
    received_quantity numeric(14, 3) NOT NULL DEFAULT 0,
    version bigint NOT NULL DEFAULT 1,
    created_by uuid NOT NULL,
    created_at timestamptz NOT NULL,
    changed_by uuid NOT NULL,
    changed_at timestamptz NOT NULL,
    CONSTRAINT deliveries_key PRIMARY KEY (project_id, id),
    CONSTRAINT deliveries_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT deliveries_created_by_fkey FOREIGN KEY (created_by) REFERENCES users (id),
    CONSTRAINT deliveries_changed_by_fkey FOREIGN KEY (changed_by) REFERENCES users (id),
    CONSTRAINT deliveries_status_check CHECK (status IN ('expected', 'received', 'cancelled')),
    CONSTRAINT deliveries_quantity_check CHECK (quantity > 0),
    CONSTRAINT deliveries_received_quantity_check CHECK (received_quantity >= 0)
);
COMMENT ON TABLE deliveries IS 'What was ordered or announced, and how much of it has come.';
COMMENT ON COLUMN deliveries.quantity IS 'Base units of the material: m, L, kg or piece.';
COMMENT ON COLUMN deliveries.received_quantity IS
    'Sum of the receipts that name this delivery, less those that were reversed.';
CREATE INDEX deliveries_expected_on_idx ON deliveries (project_id, expected_on, id);

CREATE TABLE stock_counts (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    location text NOT NULL,
    counted_at timestamptz NOT NULL,
    counted_by uuid NOT NULL,
    recorded_at timestamptz NOT NULL,
    asked jsonb NOT NULL,
    approved_by uuid,
    approved_at timestamptz,
    CONSTRAINT stock_counts_key PRIMARY KEY (project_id, id),
    CONSTRAINT stock_counts_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT stock_counts_counted_by_fkey FOREIGN KEY (counted_by) REFERENCES users (id),
    CONSTRAINT stock_counts_approved_by_fkey FOREIGN KEY (approved_by) REFERENCES users (id),
    CONSTRAINT stock_counts_approved_check
        CHECK ((approved_by IS NULL) = (approved_at IS NULL)),
    CONSTRAINT stock_counts_two_people_check CHECK (approved_by <> counted_by)
);
COMMENT ON TABLE stock_counts IS 'Somebody went and looked what is there.';
COMMENT ON COLUMN stock_counts.asked IS 'What was sent, so that the same send again is known.';
CREATE INDEX stock_counts_recorded_at_idx ON stock_counts (project_id, recorded_at, id);

CREATE TABLE stock_count_lines (
    project_id uuid NOT NULL,
    count_id uuid NOT NULL,
    location text NOT NULL,
    lot text NOT NULL,
    counted numeric(14, 3) NOT NULL,
    book numeric(14, 3) NOT NULL,
    threshold numeric(20, 5) NOT NULL,
    counted_at timestamptz NOT NULL,
    status text NOT NULL,
    CONSTRAINT stock_count_lines_key PRIMARY KEY (project_id, count_id, lot),
    CONSTRAINT stock_count_lines_count_id_fkey FOREIGN KEY (project_id, count_id)
        REFERENCES stock_counts (project_id, id),
    CONSTRAINT stock_count_lines_counted_check CHECK (counted >= 0),
    CONSTRAINT stock_count_lines_status_check
        CHECK (status IN ('matches', 'adjusted', 'waiting', 'approved', 'superseded'))
);
COMMENT ON COLUMN stock_count_lines.book IS 'What the movements up to counted_at add up to.';
COMMENT ON COLUMN stock_count_lines.threshold IS
    'The largest difference that was put right at once.';
COMMENT ON COLUMN stock_count_lines.status IS
    'superseded: a later count of the same lot at the same place came first.';
CREATE INDEX stock_count_lines_lot_idx ON stock_count_lines (project_id, location, lot, counted_at);

CREATE TABLE stock_movements (
    project_id uuid NOT NULL,
    id uuid NOT NULL,
    seq bigint GENERATED ALWAYS AS IDENTITY,
    kind text NOT NULL,
    lot text NOT NULL,
    quantity numeric(14, 3) NOT NULL,
    from_location text NOT NULL,
    to_location text NOT NULL,
    joint_id uuid,
    fact_id uuid,
    delivery_id uuid,
    count_id uuid,
    reverses uuid,
    reason text,
    chosen_against_order boolean NOT NULL DEFAULT false,
    occurred_at timestamptz NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by uuid,
    ask_id uuid NOT NULL,
    asked jsonb,
    CONSTRAINT stock_movements_key PRIMARY KEY (project_id, id),
    CONSTRAINT stock_movements_seq_key UNIQUE (project_id, seq),
    CONSTRAINT stock_movements_reverses_key UNIQUE (project_id, reverses),
    CONSTRAINT stock_movements_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT stock_movements_joint_id_fkey FOREIGN KEY (project_id, joint_id)
        REFERENCES joints (project_id, id),
    CONSTRAINT stock_movements_fact_id_fkey FOREIGN KEY (project_id, fact_id)
        REFERENCES facts (project_id, id),
    CONSTRAINT stock_movements_delivery_id_fkey FOREIGN KEY (project_id, delivery_id)
        REFERENCES deliveries (project_id, id),
    CONSTRAINT stock_movements_count_id_fkey FOREIGN KEY (project_id, count_id)
        REFERENCES stock_counts (project_id, id),
    CONSTRAINT stock_movements_reverses_fkey FOREIGN KEY (project_id, reverses)
        REFERENCES stock_movements (project_id, id),
    CONSTRAINT stock_movements_recorded_by_fkey FOREIGN KEY (recorded_by) REFERENCES users (id),
    CONSTRAINT stock_movements_kind_check CHECK (kind IN (
        'receive', 'transfer', 'issue', 'return', 'consume', 'scrap', 'count', 'reverse')),
    CONSTRAINT stock_movements_quantity_check CHECK (quantity > 0),
    CONSTRAINT stock_movements_places_check CHECK (from_location <> to_location),
    -- Nothing comes from the supplier or ends on a joint but by the kind that says so.
    CONSTRAINT stock_movements_kind_places_check CHECK (CASE kind
        WHEN 'receive' THEN from_location = 'supplier'
        WHEN 'consume' THEN to_location = 'joint'
        WHEN 'scrap' THEN to_location = 'scrap'
        WHEN 'count' THEN 'adjustment' IN (from_location, to_location)
        WHEN 'reverse' THEN true
        ELSE NOT ARRAY[from_location, to_location]
             && ARRAY['supplier', 'joint', 'scrap', 'adjustment', 'unrecorded']
    END),
    CONSTRAINT stock_movements_reverses_check CHECK ((kind = 'reverse') = (reverses IS NOT NULL))
);
COMMENT ON TABLE stock_movements IS 'What moved. Rows are only ever added.';
COMMENT ON COLUMN stock_movements.quantity IS 'Base units of the material of the lot.';
COMMENT ON COLUMN stock_movements.seq IS 'Order of recording, for lists; it has holes.';
COMMENT ON COLUMN stock_movements.chosen_against_order IS
    'Another lot would have expired sooner; reason says why this one.';
COMMENT ON COLUMN stock_movements.recorded_by IS 'None: the server itself, for a fact.';
COMMENT ON COLUMN stock_movements.ask_id IS
    'The request that it was recorded by: one request may take from several lots.';
COMMENT ON COLUMN stock_movements.asked IS
    'What was sent, so that the same send again is known; none for what the server records.';
CREATE INDEX stock_movements_lot_idx ON stock_movements (project_id, lot, seq);
CREATE INDEX stock_movements_ask_id_idx ON stock_movements (project_id, ask_id);
CREATE INDEX stock_movements_joint_id_idx ON stock_movements (project_id, joint_id)
    WHERE joint_id IS NOT NULL;
CREATE INDEX stock_movements_fact_id_idx ON stock_movements (project_id, fact_id)
    WHERE fact_id IS NOT NULL;

CREATE TRIGGER stock_movements_refuse_change BEFORE UPDATE OR DELETE ON stock_movements
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER stock_movements_refuse_truncate BEFORE TRUNCATE ON stock_movements
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

CREATE TABLE stock_balances (
    project_id uuid NOT NULL,
    location text NOT NULL,
    lot text NOT NULL,
    quantity numeric(14, 3) NOT NULL,
    physical boolean NOT NULL GENERATED ALWAYS AS (
        location NOT IN ('supplier', 'joint', 'scrap', 'adjustment', 'unrecorded')) STORED,
    CONSTRAINT stock_balances_key PRIMARY KEY (project_id, location, lot),
    CONSTRAINT stock_balances_project_id_fkey FOREIGN KEY (project_id) REFERENCES projects (id),
    CONSTRAINT stock_balances_quantity_check CHECK (NOT physical OR quantity >= 0)
);
COMMENT ON TABLE stock_balances IS
    'What each place holds of each lot: the sum of the movements, kept by their trigger.';
COMMENT ON COLUMN stock_balances.physical IS
    'Somebody can go there and look. The other places may hold less than nothing.';
CREATE INDEX stock_balances_lot_idx ON stock_balances (project_id, lot, location);

-- Locks what places hold, in the one order in which everybody does: whoever is to decide on it.
-- The roles may read balances and not write them, and a lock counts as writing.
CREATE FUNCTION lock_stock_balances(wanted_locations text[], wanted_lots text[])
RETURNS TABLE (location text, lot text, quantity numeric)
LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog, public
AS $$
    SELECT b.location, b.lot, b.quantity
      FROM public.stock_balances b
     WHERE b.project_id = current_setting('app.project_id')::uuid
       AND (b.location, b.lot) IN (SELECT * FROM unnest(wanted_locations, wanted_lots))
     ORDER BY b.location, b.lot
       FOR UPDATE OF b
$$;
COMMENT ON FUNCTION lock_stock_balances IS
    'The balances of pairs of location and lot, of the project that was named, locked in order.';

CREATE FUNCTION keep_stock_balances() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public
AS $$
DECLARE
    short record;
BEGIN
    INSERT INTO public.stock_balances (project_id, location, lot, quantity)
    SELECT DISTINCT a.project_id, p.location, a.lot, 0
      FROM added a CROSS JOIN LATERAL (VALUES (a.from_location), (a.to_location)) AS p (location)
     ORDER BY 1, 2, 3
        ON CONFLICT DO NOTHING;
    PERFORM FROM public.stock_balances b
      WHERE (b.project_id, b.location, b.lot) IN (
                SELECT a.project_id, p.location, a.lot
                  FROM added a
                 CROSS JOIN LATERAL (VALUES (a.from_location), (a.to_location)) AS p (location))
      ORDER BY b.project_id, b.location, b.lot
        FOR UPDATE OF b;
    -- The check below would refuse it too, but could not say what is left.
    SELECT b.location, b.lot, b.quantity AS left_over, c.change INTO short
      FROM public.stock_balances b
      JOIN (SELECT m.project_id, m.location, m.lot, sum(m.change) AS change
              FROM (SELECT project_id, from_location AS location, lot, -quantity AS change
                      FROM added
                     UNION ALL
                    SELECT project_id, to_location, lot, quantity FROM added) m
             GROUP BY 1, 2, 3) c USING (project_id, location, lot)
     WHERE b.physical AND b.quantity + c.change < 0
     ORDER BY b.location, b.lot LIMIT 1;
    IF FOUND THEN
        RAISE EXCEPTION '% holds % of lot %', short.location, short.left_over, short.lot
            USING ERRCODE = 'check_violation',
                  CONSTRAINT = 'stock_balances_quantity_check',
                  DETAIL = jsonb_build_object('location', short.location, 'lot', short.lot,
                                              'left', short.left_over::text,
                                              'wanted', (-short.change)::text)::text;
    END IF;
    UPDATE public.stock_balances b SET quantity = b.quantity + c.change
      FROM (SELECT m.project_id, m.location, m.lot, sum(m.change) AS change
              FROM (SELECT project_id, from_location AS location, lot, -quantity AS change
                      FROM added
                     UNION ALL
                    SELECT project_id, to_location, lot, quantity FROM added) m
             GROUP BY 1, 2, 3) c
     WHERE b.project_id = c.project_id AND b.location = c.location AND b.lot = c.lot;
    RETURN NULL;
END
$$;
COMMENT ON FUNCTION keep_stock_balances IS 'Adds the movements of a statement to the balances.';
CREATE TRIGGER stock_movements_keep_balances AFTER INSERT ON stock_movements
    REFERENCING NEW TABLE AS added
    FOR EACH STATEMENT EXECUTE FUNCTION keep_stock_balances();

REVOKE ALL ON FUNCTION lock_stock_balances(text[], text[]), keep_stock_balances() FROM PUBLIC;
GRANT EXECUTE ON FUNCTION lock_stock_balances(text[], text[])
    TO jointward_app, jointward_worker;

-- Movements are only ever added; balances are nobody's to write.
GRANT SELECT, INSERT ON stock_movements, stock_counts, stock_count_lines TO jointward_app;
GRANT UPDATE (approved_by, approved_at) ON stock_counts TO jointward_app;
GRANT UPDATE (status) ON stock_count_lines TO jointward_app;
GRANT SELECT, INSERT, UPDATE ON deliveries TO jointward_app;
GRANT SELECT ON stock_balances TO jointward_app;
GRANT SELECT, INSERT ON stock_movements TO jointward_worker;
GRANT SELECT ON stock_balances, deliveries, stock_counts, stock_count_lines TO jointward_worker;
GRANT SELECT ON stock_movements, stock_balances, deliveries, stock_counts, stock_count_lines
    TO jointward_reader;

DO $$
DECLARE
    tenant text;
BEGIN
    FOREACH tenant IN ARRAY ARRAY[
        'deliveries', 'stock_counts', 'stock_count_lines', 'stock_movements', 'stock_balances'
    ] LOOP
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
