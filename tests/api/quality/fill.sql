-- Fills a project $1 with $4 coated and tested joints, twelve a day for each of ten crews, up to
-- the moment $2; $3 recorded everything. Of every crew one joint in fifty fails its first test.
WITH numbered AS (
    SELECT n, ('00000000-0000-7000-8000-' || lpad(to_hex(n), 12, '0'))::uuid AS id,
           $2::timestamptz - ($4 - n) / 120 * interval '1 day' - (n % 12) * interval '30 min' AS at
      FROM generate_series(1, $4::bigint) AS n
), kept AS (
    INSERT INTO joints (project_id, id, joint_number, kp_m, section, kind, register, chain_head,
                        state, stage, created_at)
    SELECT $1, id, 'M-' || n, n * 12, 'S1', 'mainline', '{}', decode(repeat('00', 32), 'hex'), '{}',
           'backfilled', $2
      FROM numbered
), steps (seq, kind, fields) AS (
    VALUES (1, 'welded', '{"kind":"welded","welder":"W-041"}'),
           (2, 'weld_accepted', '{"inspector":"P-INSPECTOR","kind":"weld_accepted","report":"R-1"}'),
           (3, 'surface_prepared',
            '{"ambient":{"air_c":20.5,"relative_humidity_percent":50.5,"steel_c":22.5},"applicator":"%1$s","crew":"%2$s","grade":"St 3","kind":"surface_prepared"}'),
           (4, 'primed',
            '{"ambient":{"air_c":20.5,"relative_humidity_percent":50.5,"steel_c":22.5},"applicator":"%1$s","crew":"%2$s","kind":"primed","lots":["LP-%3$s"]}'),
           (5, 'wrapped',
            '{"ambient":{"air_c":20.5,"relative_humidity_percent":50.5,"steel_c":22.5},"applicator":"%1$s","crew":"%2$s","kind":"wrapped","layer":"inner","lots":["LI-%3$s"],"overlap_percent":55.5}'),
           (6, 'wrapped',
            '{"ambient":{"air_c":20.5,"relative_humidity_percent":50.5,"steel_c":22.5},"applicator":"%1$s","crew":"%2$s","kind":"wrapped","layer":"outer","lots":["LO-%3$s"],"overlap_percent":55.5}'),
           (7, 'holiday_tested',
            '{"detector":"HD-1","holidays_found":%4$s,"inspector":"P-INSPECTOR","kind":"holiday_tested","result":"%5$s","travel_speed_mm_s":200.5,"voltage_kv":15.5}'),
           (8, 'lowered', '{"kind":"lowered"}'),
           (9, 'backfilled', '{"kind":"backfilled"}')
)
INSERT INTO facts (project_id, id, joint_id, seq, kind, occurred_at, recorded_at, recorded_by, late,
                   record, hash)
SELECT $1, made.id, j.id, s.seq, s.kind, made.at, made.at + interval '1 min', $3, false,
       convert_to(format(
           '{"event":%s,"id":"%s","joint":"%s","occurred_at":"%s","previous":"%s","project":"%s","recorded_at":"%s","recorded_by":"%s","seq":%s,"supersedes":null}',
           format(s.fields, 'P-' || j.n % 20, 'C' || j.n % 10, j.n / 600,
                  CASE WHEN j.n % 500 < 10 THEN 1 ELSE 0 END,
                  CASE WHEN j.n % 500 < 10 THEN 'fail' ELSE 'pass' END),
           made.id, j.id, made.at, repeat('0', 64), $1, made.at, $3, s.seq), 'UTF8'),
       decode(repeat('00', 32), 'hex')
  FROM numbered j
 CROSS JOIN steps s
 CROSS JOIN LATERAL (
     SELECT ('00000000-0000-7000-9000-' || lpad(to_hex(j.n * 16 + s.seq), 12, '0'))::uuid AS id,
            j.at - (10 - s.seq) * interval '5 min' AS at) AS made
 ORDER BY made.at, made.id
