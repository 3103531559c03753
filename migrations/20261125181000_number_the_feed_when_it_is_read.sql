-- Numbers are given when somebody reads, not when somebody writes.
--
-- A number that is given inside a commit takes the lock of the project's head until the commit is
-- on the disk, so all writers of a project stood in one queue, and no two could share a write to
-- the disk. Now a writer leaves its entries in `feed_pending`. Whoever is about to read the feed
-- first calls `number_feed`, in a transaction of its own that is committed before the reading: it
-- moves all that is committed by then behind what has a number already. What is committed later
-- gets later numbers, so it is still true that entries become visible in their order, that there
-- are no holes, and that what was rolled back used up no number.

DROP TRIGGER feed_pending_append ON feed_pending;
DROP FUNCTION append_to_feed;

-- Its rows now outlive their transaction, and a crash.
ALTER TABLE feed_pending SET LOGGED;
COMMENT ON TABLE feed_pending IS 'Entries that have no number yet.';

-- Runs as the owner: no role that serves or works can write a number by itself.
CREATE FUNCTION number_feed(wanted uuid) RETURNS void LANGUAGE plpgsql
    SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    named text := current_setting('app.project_id', true);
BEGIN
    PERFORM set_config('app.project_id', wanted::text, true);
    IF EXISTS (SELECT FROM feed_pending WHERE project_id = wanted) THEN
        -- Those who number take turns. What the one before has moved is gone for the next
        -- statement, which has a look of its own at what is committed.
        PERFORM pg_advisory_xact_lock(hashtextextended('feed ' || wanted, 0));
        WITH gone AS (
            DELETE FROM feed_pending WHERE project_id = wanted
            RETURNING xact, n, topic, subject, body, at, once
        ), aged AS (
            SELECT *,
                   row_number() OVER (PARTITION BY xact, topic, subject ORDER BY n DESC) AS age,
                   -- A transaction that has waited for another one notes something after it. So
                   -- by their last entries transactions stand in the order in which they depend
                   -- on each other, each in one piece.
                   max(n) OVER (PARTITION BY xact) AS last_n
              FROM gone
        ), kept AS (
            SELECT *, row_number() OVER (ORDER BY last_n, n) AS place
              FROM aged WHERE NOT once OR age = 1
        ), head AS (
            INSERT INTO feed_heads AS h (project_id, seq)
            SELECT wanted, count(*) FROM kept HAVING count(*) > 0
                ON CONFLICT (project_id) DO UPDATE SET seq = h.seq + excluded.seq
            RETURNING seq
        )
        INSERT INTO feed (project_id, seq, topic, subject, body, at)
        SELECT wanted, head.seq - (SELECT count(*) FROM kept) + place, topic, subject, body, at
          FROM kept, head;
    END IF;
    PERFORM set_config('app.project_id', coalesce(named, ''), true);
END
$$;
COMMENT ON FUNCTION number_feed IS
    'Gives numbers to what is committed in the project. To be committed before it is read.';

-- The worker looks in which projects there is something to number.
CREATE POLICY of_worker ON feed_pending FOR SELECT TO jointward_worker USING (true);
GRANT SELECT (project_id) ON feed_pending TO jointward_worker;
REVOKE EXECUTE ON FUNCTION number_feed FROM PUBLIC;
GRANT EXECUTE ON FUNCTION number_feed TO jointward_app, jointward_worker;
