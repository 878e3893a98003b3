-- The rules of a decision (DEVELOPERS.md), written in SQL. One run judges many
-- catalogues (column cat) and many questions (column q, unique over all of
-- them). All codes arrive folded, values folded as values, dates as day numbers,
-- measured values in millionths, litres in millilitres; '' stands for no code
-- and NULL for an open end. Texts between ";" are lists that instr() searches.
--
-- The driver splits this file at "-- :load" (rows are inserted there) and runs
-- what stands between "-- :repeat N" and "-- :end" N times, since SQL has no
-- loop over set operations.

PRAGMA journal_mode = OFF;
PRAGMA synchronous = OFF;
PRAGMA cache_size = -200000;
PRAGMA temp_store = MEMORY;

CREATE TABLE assembly(cat INT, a TEXT, follows TEXT);
CREATE TABLE variant(cat INT, v TEXT, fam TEXT, sfrom INT, sto INT, bfrom INT, bto INT);
CREATE TABLE mark(cat INT, m TEXT, a TEXT, kind TEXT, force TEXT, tol INT, wears TEXT, site TEXT, ohm INT); -- ohm: it is measured in Ω
CREATE TABLE show(cat INT, scope TEXT, o TEXT, m TEXT, val TEXT, num INT, tol INT);
CREATE TABLE site(cat INT, scope TEXT, o TEXT, m TEXT, r TEXT, ohm INT, tol INT, temp INT); -- temp in tenths of a degree
CREATE TABLE seal(cat INT, scope TEXT, o TEXT, m TEXT, r TEXT, len INT, tol INT, least INT, fitted INT);
CREATE TABLE role(cat INT, r TEXT, a TEXT, kind TEXT);
CREATE TABLE part(cat INT, p TEXT, kind TEXT, sold INT);
CREATE TABLE number(cat INT, n TEXT, p TEXT);
CREATE TABLE fit(f INTEGER PRIMARY KEY, cat INT, scope TEXT, o TEXT, m TEXT, val TEXT, r TEXT, effect TEXT, p TEXT, pos TEXT,
                 qty INT, rank INT, sfrom INT, sto INT, bfrom INT, bto INT);
CREATE TABLE cond(f INT, m TEXT, val TEXT); -- O2: the when list, and of the scope mark its MARK=VALUE
CREATE TABLE sup(cat INT, old TEXT, new TEXT, kind TEXT, qty INT);
CREATE TABLE comp(cat INT, p TEXT, c TEXT, rep TEXT, qty INT, per TEXT);
CREATE TABLE serve(cat INT, spec TEXT, servedby TEXT);
CREATE TABLE meet(cat INT, spec TEXT, p TEXT, claim TEXT);
CREATE TABLE lim(cat INT, spec TEXT, prop TEXT, least INT, most INT);
CREATE TABLE sheet(cat INT, p TEXT, prop TEXT, num INT);
CREATE TABLE fill(cat INT, scope TEXT, o TEXT, r TEXT, spec TEXT, refill INT, dry INT);
CREATE TABLE work(cat INT, w TEXT, fill TEXT);
CREATE TABLE workrole(cat INT, w TEXT, r TEXT);
CREATE TABLE note(cat INT, p TEXT, fam TEXT); -- confirmed did-not-fit notes on parts only
CREATE TABLE question(q INTEGER PRIMARY KEY, cat INT, serial INT, b1 INT, b2 INT, built TEXT);
CREATE TABLE qwork(q INT, w TEXT);
CREATE TABLE qrole(q INT, r TEXT);
CREATE TABLE qpart(q INT, asked TEXT);
CREATE TABLE obs(q INT, m TEXT, val TEXT, num INT, temp INT); -- temp of a site's reading, in tenths of a degree
-- C3 is judged by the driver: the assembly that carries the reading, what it
-- spells in full, and the variants that it allows.
CREATE TABLE reading(q INT, n INT, a TEXT, txt TEXT, serial INT, b1 INT, b2 INT);
CREATE TABLE allow(q INT, n INT, v TEXT);
-- :load

CREATE INDEX variant_i ON variant(cat, v);
CREATE INDEX variant_f ON variant(cat, fam);
CREATE INDEX show_i ON show(cat, scope, o, m);
CREATE INDEX part_i ON part(cat, p);
CREATE INDEX fit_i ON fit(cat, r, scope, o);
CREATE INDEX fit_m ON fit(cat, m, val);
CREATE INDEX cond_i ON cond(f);
CREATE INDEX sup_i ON sup(cat, old);
CREATE INDEX comp_i ON comp(cat, p);
CREATE INDEX meet_i ON meet(cat, spec);
CREATE INDEX fill_i ON fill(cat, scope, o, r);
CREATE INDEX obs_i ON obs(q, m);
CREATE INDEX allow_i ON allow(q, n, v);
CREATE INDEX reading_i ON reading(q, a);
CREATE INDEX role_i ON role(cat, r);
CREATE INDEX qwork_i ON qwork(q);
CREATE INDEX qrole_i ON qrole(q);
CREATE INDEX work_i ON work(cat, w);
CREATE INDEX mark_i ON mark(cat, m);

---------------------------------------------------------------------------
-- Candidates

-- C2a: where no mark is called so, a site is a measured, deciding mark on the
-- assembly of its role, and its rows are what families and variants show of it.
CREATE TABLE sitemark AS
SELECT DISTINCT s.cat, s.m, r.a FROM site s JOIN role r ON r.cat = s.cat AND r.r = s.r
WHERE NOT EXISTS (SELECT 1 FROM mark m WHERE m.cat = s.cat AND m.m = s.m);
INSERT INTO mark SELECT cat, m, a, 'measured', 'deciding', 0, '', '', 1 FROM sitemark;
-- C2b: where neither a mark nor a site is called so, a seal is one that wears
-- shorter, with 0.1 mm of measuring tolerance.
CREATE TABLE sealmark AS
SELECT DISTINCT s.cat, s.m, r.a FROM seal s JOIN role r ON r.cat = s.cat AND r.r = s.r
WHERE NOT EXISTS (SELECT 1 FROM mark m WHERE m.cat = s.cat AND m.m = s.m);
INSERT INTO mark SELECT cat, m, a, 'measured', 'deciding', 100000, 'shorter', '', 0 FROM sealmark;
CREATE TABLE shown AS
SELECT cat, scope, o, m, val, num, tol, NULL AS temp, NULL AS fitted, NULL AS least FROM show
UNION ALL
SELECT s.cat, s.scope, s.o, s.m, NULL, s.ohm, s.tol, s.temp, NULL, NULL FROM site s JOIN sitemark k ON k.cat = s.cat AND k.m = s.m
UNION ALL
SELECT s.cat, s.scope, s.o, s.m, NULL, s.len, s.tol, NULL, s.fitted, s.least FROM seal s JOIN sealmark k ON k.cat = s.cat AND k.m = s.m;
CREATE INDEX shown_i ON shown(cat, scope, o, m);

-- C1: what a variant shows of a mark: its own rows, else its family's.
CREATE TABLE sv AS
SELECT v.cat, v.v, s.m, s.val, s.num, s.tol, s.temp, s.fitted, s.least
FROM variant v JOIN shown s ON s.cat = v.cat AND s.scope = 'variant' AND s.o = v.v
UNION ALL
SELECT v.cat, v.v, s.m, s.val, s.num, s.tol, s.temp, s.fitted, s.least
FROM variant v JOIN shown s ON s.cat = v.cat AND s.scope = 'family' AND s.o = v.fam
WHERE NOT EXISTS (SELECT 1 FROM shown t WHERE t.cat = v.cat AND t.scope = 'variant' AND t.o = v.v AND t.m = s.m);
CREATE INDEX sv_i ON sv(cat, v, m);

-- C2a: a deciding mark in Ω whose site has rows on its assembly is the coil at that
-- site: variants with a row of the site are held to it, others to what they show of
-- the mark, with both tolerances and at 20 °C.
CREATE TABLE coilmark AS
SELECT DISTINCT m.cat, m.m, m.site, m.tol FROM mark m JOIN site s ON s.cat = m.cat AND s.m = m.site JOIN role r ON r.cat = s.cat AND r.r = s.r AND r.a = m.a
WHERE m.kind = 'measured' AND m.force = 'deciding' AND m.ohm AND m.site <> '';
CREATE TABLE held AS
SELECT cat, scope, o, m, val, num, tol, temp, fitted, least, 1 AS row FROM shown x WHERE NOT EXISTS (SELECT 1 FROM coilmark k WHERE k.cat = x.cat AND k.m = x.m)
UNION ALL
SELECT s.cat, s.scope, s.o, k.m, NULL, s.ohm, s.tol, s.temp, NULL, NULL, 1 FROM site s JOIN coilmark k ON k.cat = s.cat AND k.site = s.m
UNION ALL
SELECT x.cat, x.scope, x.o, x.m, NULL, x.num, coalesce(x.tol, 0) + coalesce(k.tol, 0), 200, NULL, NULL, 0 FROM shown x JOIN coilmark k ON k.cat = x.cat AND k.m = x.m
WHERE NOT EXISTS (SELECT 1 FROM site s WHERE s.cat = x.cat AND s.m = k.site AND s.scope = x.scope AND s.o = x.o)
  AND NOT EXISTS (SELECT 1 FROM variant v JOIN site s ON s.cat = v.cat AND s.m = k.site AND s.scope = 'family' AND s.o = v.fam WHERE x.scope = 'variant' AND v.cat = x.cat AND v.v = x.o);
CREATE INDEX held_i ON held(cat, scope, o, m);
CREATE TABLE hv AS -- C1
SELECT v.cat, v.v, s.m, s.val, s.fitted, s.least, s.row FROM variant v JOIN held s ON s.cat = v.cat AND s.scope = 'variant' AND s.o = v.v
UNION ALL
SELECT v.cat, v.v, s.m, s.val, s.fitted, s.least, s.row FROM variant v JOIN held s ON s.cat = v.cat AND s.scope = 'family' AND s.o = v.fam
WHERE NOT EXISTS (SELECT 1 FROM held t WHERE t.cat = v.cat AND t.scope = 'variant' AND t.o = v.v AND t.m = s.m);
CREATE INDEX hv_i ON hv(cat, v, m);

-- The assemblies of each question, and how far each is from the root.
CREATE TABLE depth AS
WITH RECURSIVE d(cat, a, follows, d) AS (
  SELECT cat, a, follows, 0 FROM assembly WHERE follows = ''
  UNION ALL
  SELECT n.cat, n.a, n.follows, d.d + 1 FROM d JOIN assembly n ON n.cat = d.cat AND n.follows = d.a)
SELECT * FROM d;
CREATE TABLE qa AS
SELECT q.q, q.cat, d.a, d.follows, d.d FROM question q JOIN depth d ON d.cat = q.cat;
CREATE INDEX qa_i ON qa(q, a);

-- C4: the unit's serial number and build date: given, else read on the root.
CREATE TABLE unit AS
SELECT q, cat, a, coalesce(given, read) AS serial, given <> read AS serialclash,
  iif(overlap, max(g1, r1), coalesce(g1, r1)) AS b1, iif(overlap, min(g2, r2), coalesce(g2, r2)) AS b2, -- the days that both leave
  NOT overlap AS builtclash
FROM (
  SELECT qa.q, qa.cat, qa.a, q.serial AS given, max(r.serial) AS read, q.b1 AS g1, q.b2 AS g2, max(r.b1) AS r1, max(r.b2) AS r2,
    q.b1 <= max(r.b2) AND max(r.b1) <= q.b2 AS overlap
  FROM qa JOIN question q USING (q) LEFT JOIN reading r ON r.q = qa.q AND r.a = qa.a WHERE qa.d = 0 GROUP BY qa.q);
CREATE INDEX unit_i ON unit(q);

-- C2a to C2c: how an observed number stands to what is shown. Low is whether it is
-- no shorter than use leaves what wears, 0.85 of the nominal or the lower end of C2,
-- or of a seal with a fitted height that height less what the measuring can be off.
CREATE TABLE numobs AS
SELECT q.q, q.cat, o.m, o.val, s.scope, s.o, s.num, s.tol, s.temp, s.fitted,
  CASE
    WHEN m.wears <> 'shorter' THEN 1
    WHEN s.fitted IS NOT NULL THEN o.num >= s.fitted - coalesce(m.tol, 0)
    ELSE 100 * o.num >= min(85 * s.num, 100 * (s.num - coalesce(s.tol, 0) - coalesce(m.tol, 0))) END AS low,
  CASE
    -- C2a: copper at t has 1 + 0.00393 (t - 20) times its resistance at 20 °C
    WHEN s.temp IS NOT NULL THEN abs(o.num * (1000000 + 393 * (s.temp - 200)) - s.num * (1000000 + 393 * (o.temp - 200))) <= coalesce(s.tol, 0) * (1000000 + 393 * (o.temp - 200))
    WHEN m.wears = 'shorter' THEN o.num <= s.num + coalesce(s.tol, 0) + coalesce(m.tol, 0)
    ELSE abs(o.num - s.num) <= coalesce(s.tol, 0) + coalesce(m.tol, 0) END AS near
FROM obs o JOIN question q USING (q) JOIN mark m ON m.cat = q.cat AND m.m = o.m AND m.kind = 'measured' JOIN held s ON s.cat = q.cat AND s.m = o.m;
CREATE INDEX numobs_i ON numobs(q, m, scope, o);
-- C2c: readings at sites that agree with no row of all families and of the variants
-- of the families read, and lengths shorter than use leaves any such seal.
CREATE TABLE famread AS
SELECT DISTINCT w.q, v.fam FROM allow w JOIN question q USING (q) JOIN variant v ON v.cat = q.cat AND v.v = w.v;
CREATE INDEX famread_i ON famread(q, fam);
CREATE TABLE faulty AS
SELECT DISTINCT o.q, o.m FROM obs o JOIN question q USING (q)
WHERE (EXISTS (SELECT 1 FROM sitemark k WHERE k.cat = q.cat AND k.m = o.m) OR EXISTS (SELECT 1 FROM coilmark k WHERE k.cat = q.cat AND k.m = o.m) OR EXISTS (SELECT 1 FROM sealmark k WHERE k.cat = q.cat AND k.m = o.m))
  AND NOT EXISTS (
    SELECT 1 FROM numobs n WHERE n.q = o.q AND n.m = o.m AND n.low AND (n.near OR n.temp IS NULL)
      AND (n.scope = 'family' OR EXISTS (SELECT 1 FROM variant v JOIN famread f ON f.q = o.q AND f.fam = v.fam WHERE v.cat = q.cat AND v.v = n.o)));
CREATE INDEX faulty_i ON faulty(q, m);

-- C5: own evidence as numbered statements. Hinting marks are not among them, nor
-- what only condemns (C2c).
CREATE TABLE ev AS
SELECT q, cat, a, row_number() OVER (PARTITION BY q, a ORDER BY kind, mark, txt) - 1 AS i, kind, mark, txt, n
FROM (
  SELECT r.q, qu.cat, r.a, 'reading' AS kind, '' AS mark, r.txt, r.n FROM reading r JOIN question qu USING (q) WHERE r.a <> ''
  UNION
  SELECT o.q, qu.cat, m.a, 'mark', o.m, o.val, NULL FROM obs o JOIN question qu USING (q) JOIN mark m ON m.cat = qu.cat AND m.m = o.m WHERE m.force = 'deciding'
    AND NOT EXISTS (SELECT 1 FROM faulty f WHERE f.q = o.q AND f.m = o.m)
  UNION
  SELECT q, cat, a, 'serial', '', serial, NULL FROM unit WHERE serial IS NOT NULL
  UNION
  SELECT q, cat, a, 'built', '', '', NULL FROM unit WHERE b1 IS NOT NULL);
CREATE INDEX ev_i ON ev(q, a);

-- C6: the universe of an assembly. With readings: what any of them allows.
-- Without: the variants of all families of the variants that the readings of
-- the other assemblies allow.
CREATE TABLE uni AS
SELECT DISTINCT qa.q, qa.cat, qa.a, w.v
FROM qa JOIN reading r ON r.q = qa.q AND r.a = qa.a JOIN allow w ON w.q = r.q AND w.n = r.n
UNION ALL
SELECT DISTINCT qa.q, qa.cat, qa.a, v.v
FROM qa JOIN reading r ON r.q = qa.q AND r.a <> qa.a JOIN allow w ON w.q = r.q AND w.n = r.n
JOIN variant y ON y.cat = qa.cat AND y.v = w.v JOIN variant v ON v.cat = qa.cat AND v.fam = y.fam
WHERE NOT EXISTS (SELECT 1 FROM reading o WHERE o.q = qa.q AND o.a = qa.a);
CREATE INDEX uni_i ON uni(q, a, v);

-- The variants over which contradictions are judged (C9): all of the families
-- of the universe; a reading in a set narrows them to what it allows.
CREATE TABLE base AS
SELECT DISTINCT u.q, u.cat, u.a, w.v
FROM uni u JOIN variant v ON v.cat = u.cat AND v.v = u.v JOIN variant w ON w.cat = u.cat AND w.fam = v.fam;
CREATE INDEX base_i ON base(q, a);

-- Which statement is against which variant: C2, C3, C4.
CREATE TABLE against AS
SELECT e.q, e.a, e.i, b.v
FROM ev e JOIN base b ON b.q = e.q AND b.a = e.a JOIN variant v ON v.cat = b.cat AND v.v = b.v
WHERE CASE e.kind
  WHEN 'reading' THEN NOT EXISTS (SELECT 1 FROM allow w WHERE w.q = e.q AND w.n = e.n AND w.v = b.v)
  WHEN 'mark' THEN
    EXISTS (SELECT 1 FROM hv WHERE hv.cat = e.cat AND hv.v = b.v AND hv.m = e.mark)
    AND NOT EXISTS (
      SELECT 1 FROM sv JOIN mark m ON m.cat = sv.cat AND m.m = sv.m JOIN obs o ON o.q = e.q AND o.m = e.mark AND o.val = e.txt
      WHERE sv.cat = e.cat AND sv.v = b.v AND sv.m = e.mark AND m.kind <> 'measured' AND o.val = sv.val)
    AND NOT EXISTS (
      SELECT 1 FROM numobs n WHERE n.q = e.q AND n.m = e.mark AND n.val = e.txt AND n.low AND n.near
        AND (n.scope = 'variant' AND n.o = b.v
             OR n.scope = 'family' AND n.o = v.fam AND NOT EXISTS (SELECT 1 FROM held t WHERE t.cat = e.cat AND t.scope = 'variant' AND t.o = b.v AND t.m = e.mark)))
  WHEN 'serial' THEN coalesce(e.txt + 0 < v.sfrom, 0) OR coalesce(e.txt + 0 > v.sto, 0)
  WHEN 'built' THEN (SELECT coalesce(u.b2 < v.bfrom, 0) OR coalesce(u.b1 > v.bto, 0) FROM unit u WHERE u.q = e.q)
  END;
CREATE INDEX against_i ON against(q, a, v);
-- C4: a reading contradicts a given serial number or date that differs.
CREATE TABLE clash AS
SELECT e.q, e.a, e.i AS i, g.i AS j
FROM ev e JOIN reading r ON r.q = e.q AND r.n = e.n JOIN unit u ON u.q = e.q JOIN ev g ON g.q = e.q AND g.a = e.a
WHERE e.kind = 'reading' AND (g.kind = 'serial' AND r.serial IS NOT NULL AND u.serialclash OR g.kind = 'built' AND r.b1 IS NOT NULL AND u.builtclash);

-- W of C8, and for the root the candidates of C7: allowed by all evidence.
CREATE TABLE w AS
SELECT u.q, u.a, u.v FROM uni u
WHERE NOT EXISTS (SELECT 1 FROM against x WHERE x.q = u.q AND x.a = u.a AND x.v = u.v)
  AND NOT EXISTS (SELECT 1 FROM clash c WHERE c.q = u.q AND c.a = u.a);
CREATE INDEX w_i ON w(q, a, v);

-- C9: the assemblies in conflict, and their smallest contradicting sets. The
-- sets are bit masks over the numbered statements.
CREATE TABLE conflict AS
SELECT qa.q, qa.cat, qa.a FROM qa
WHERE EXISTS (SELECT 1 FROM ev WHERE ev.q = qa.q AND ev.a = qa.a)
  AND EXISTS (SELECT 1 FROM uni WHERE uni.q = qa.q AND uni.a = qa.a)
  -- C3: a reading that allows nothing leaves no candidates, which is no conflict
  AND NOT EXISTS (SELECT 1 FROM reading r WHERE r.q = qa.q AND r.a = qa.a AND NOT EXISTS (SELECT 1 FROM allow x WHERE x.q = r.q AND x.n = r.n))
  AND NOT EXISTS (SELECT 1 FROM w WHERE w.q = qa.q AND w.a = qa.a);
CREATE INDEX conflict_i ON conflict(q);
CREATE TABLE badset AS
WITH RECURSIVE
  s(q, a, n, mask) AS (
    SELECT c.q, c.a, 1 << (SELECT count(*) FROM ev WHERE ev.q = c.q AND ev.a = c.a), 1 FROM conflict c
    UNION ALL SELECT q, a, n, mask + 1 FROM s WHERE mask + 1 < n),
  x(q, a, v, mask) AS (
    SELECT b.q, b.a, b.v, coalesce((SELECT sum(1 << i) FROM against g WHERE g.q = b.q AND g.a = b.a AND g.v = b.v), 0) FROM base b)
SELECT s.q, s.a, s.mask FROM s
WHERE NOT EXISTS (SELECT 1 FROM x WHERE x.q = s.q AND x.a = s.a AND x.mask & s.mask = 0)
   OR EXISTS (SELECT 1 FROM clash c WHERE c.q = s.q AND c.a = s.a AND s.mask & (1 << c.i) AND s.mask & (1 << c.j));
CREATE INDEX badset_i ON badset(q, a, mask);
CREATE TABLE smallest AS
SELECT b.q, b.a, b.mask FROM badset b
WHERE NOT EXISTS (
  SELECT 1 FROM ev e JOIN badset c ON c.q = b.q AND c.a = b.a AND c.mask = b.mask - (1 << e.i)
  WHERE e.q = b.q AND e.a = b.a AND b.mask & (1 << e.i));

-- C7, C8 from the root outwards, and C4 for the assemblies that follow.
CREATE TABLE cand(q INT, cat INT, a TEXT, v TEXT);
CREATE INDEX cand_i ON cand(q, a, v);
CREATE TABLE state(q INT, a TEXT, basis TEXT, mixed INT, serial INT, b1 INT, b2 INT);
CREATE INDEX state_i ON state(q, a);
CREATE TABLE step(d INT);
INSERT INTO step VALUES (-1);
-- :repeat 4
UPDATE step SET d = d + 1;
INSERT INTO state
SELECT qa.q, qa.a,
  CASE
    WHEN EXISTS (SELECT 1 FROM conflict c WHERE c.q = qa.q AND c.a = qa.a) THEN 'conflict'
    WHEN EXISTS (SELECT 1 FROM ev WHERE ev.q = qa.q AND ev.a = qa.a)
      THEN CASE
        WHEN NOT EXISTS (SELECT 1 FROM w WHERE w.q = qa.q AND w.a = qa.a) THEN 'none'
        -- C8: no reading, W and P share some, and W holds more
        WHEN qa.follows <> '' AND NOT EXISTS (SELECT 1 FROM ev WHERE ev.q = qa.q AND ev.a = qa.a AND ev.kind = 'reading')
          AND EXISTS (SELECT 1 FROM w JOIN cand p ON p.q = w.q AND p.a = qa.follows AND p.v = w.v WHERE w.q = qa.q AND w.a = qa.a)
          AND EXISTS (SELECT 1 FROM w WHERE w.q = qa.q AND w.a = qa.a
                      AND NOT EXISTS (SELECT 1 FROM cand p WHERE p.q = w.q AND p.a = qa.follows AND p.v = w.v)) THEN 'as-built'
        ELSE 'own-evidence' END
    WHEN qa.follows <> '' THEN 'as-built'
    WHEN EXISTS (SELECT 1 FROM uni WHERE uni.q = qa.q AND uni.a = qa.a) THEN 'family'
    ELSE 'none' END,
  -- C8: W and P both have some and share none
  EXISTS (SELECT 1 FROM ev WHERE ev.q = qa.q AND ev.a = qa.a)
    AND EXISTS (SELECT 1 FROM w WHERE w.q = qa.q AND w.a = qa.a)
    AND EXISTS (SELECT 1 FROM cand p WHERE p.q = qa.q AND p.a = qa.follows)
    AND NOT EXISTS (SELECT 1 FROM w JOIN cand p ON p.q = w.q AND p.a = qa.follows AND p.v = w.v WHERE w.q = qa.q AND w.a = qa.a),
  NULL, NULL, NULL
FROM qa, step WHERE qa.d = step.d;
INSERT INTO cand
SELECT qa.q, qa.cat, qa.a, u.v FROM qa JOIN step ON qa.d = step.d JOIN state s ON s.q = qa.q AND s.a = qa.a
JOIN uni u ON u.q = qa.q AND u.a = qa.a WHERE s.basis = 'family' AND qa.follows = ''
UNION ALL
SELECT qa.q, qa.cat, qa.a, p.v FROM qa JOIN step ON qa.d = step.d JOIN state s ON s.q = qa.q AND s.a = qa.a
JOIN cand p ON p.q = qa.q AND p.a = qa.follows WHERE s.basis = 'as-built'
  AND (NOT EXISTS (SELECT 1 FROM ev WHERE ev.q = qa.q AND ev.a = qa.a)
       OR EXISTS (SELECT 1 FROM w WHERE w.q = qa.q AND w.a = qa.a AND w.v = p.v))
UNION ALL
SELECT qa.q, qa.cat, qa.a, w.v FROM qa JOIN step ON qa.d = step.d JOIN state s ON s.q = qa.q AND s.a = qa.a
JOIN w ON w.q = qa.q AND w.a = qa.a WHERE s.basis = 'own-evidence'
  AND (s.mixed OR qa.follows = '' OR NOT EXISTS (SELECT 1 FROM cand p WHERE p.q = qa.q AND p.a = qa.follows)
       OR EXISTS (SELECT 1 FROM cand p WHERE p.q = qa.q AND p.a = qa.follows AND p.v = w.v));
UPDATE state SET
  serial = CASE (SELECT d FROM step) WHEN 0 THEN (SELECT u.serial FROM unit u WHERE u.q = state.q)
    ELSE coalesce((SELECT max(r.serial) FROM reading r WHERE r.q = state.q AND r.a = state.a),
      iif(mixed, NULL, (SELECT p.serial FROM qa JOIN state p ON p.q = qa.q AND p.a = qa.follows WHERE qa.q = state.q AND qa.a = state.a))) END,
  b1 = CASE (SELECT d FROM step) WHEN 0 THEN (SELECT u.b1 FROM unit u WHERE u.q = state.q)
    ELSE coalesce((SELECT max(r.b1) FROM reading r WHERE r.q = state.q AND r.a = state.a),
      iif(mixed, NULL, (SELECT p.b1 FROM qa JOIN state p ON p.q = qa.q AND p.a = qa.follows WHERE qa.q = state.q AND qa.a = state.a))) END,
  b2 = CASE (SELECT d FROM step) WHEN 0 THEN (SELECT u.b2 FROM unit u WHERE u.q = state.q)
    ELSE coalesce((SELECT max(r.b2) FROM reading r WHERE r.q = state.q AND r.a = state.a),
      iif(mixed, NULL, (SELECT p.b2 FROM qa JOIN state p ON p.q = qa.q AND p.a = qa.follows WHERE qa.q = state.q AND qa.a = state.a))) END
WHERE (q, a) IN (SELECT q, a FROM qa JOIN step ON qa.d = step.d);
-- :end

---------------------------------------------------------------------------
-- What a candidate takes in a role

-- V0: the roles asked: those of the scopes of work and those named; where neither
-- is given, those in which the catalogue says something of a candidate, and all
-- of an assembly without candidates. A question about a part needs every role
-- beside them.
CREATE TABLE asked AS
SELECT q.q, q.cat, r.r, r.a, r.kind FROM question q JOIN role r ON r.cat = q.cat
WHERE r.r IN (SELECT w.r FROM qwork k JOIN workrole w ON w.cat = q.cat AND w.w = k.w WHERE k.q = q.q)
   OR r.r IN (SELECT k.r FROM qrole k WHERE k.q = q.q)
   OR NOT EXISTS (SELECT 1 FROM qwork k WHERE k.q = q.q) AND NOT EXISTS (SELECT 1 FROM qrole k WHERE k.q = q.q)
      AND (NOT EXISTS (SELECT 1 FROM cand c WHERE c.q = q.q AND c.a = r.a) OR EXISTS (
        SELECT 1 FROM cand c JOIN variant v ON v.cat = c.cat AND v.v = c.v WHERE c.q = q.q AND c.a = r.a AND (
          EXISTS (SELECT 1 FROM fit f WHERE f.cat = r.cat AND f.r = r.r AND f.scope = 'variant' AND f.o = v.v)
          OR EXISTS (SELECT 1 FROM fit f WHERE f.cat = r.cat AND f.r = r.r AND f.scope = 'family' AND f.o = v.fam)
          OR EXISTS (SELECT 1 FROM fit f JOIN sv ON sv.cat = f.cat AND sv.v = v.v AND sv.m = f.m AND sv.val = f.val WHERE f.cat = r.cat AND f.r = r.r AND f.scope = 'mark')
          OR EXISTS (SELECT 1 FROM fit f JOIN obs o ON o.q = q.q AND o.m = f.m AND o.val = f.val WHERE f.cat = r.cat AND f.r = r.r AND f.scope = 'mark')
          OR EXISTS (SELECT 1 FROM fill f WHERE f.cat = r.cat AND f.r = r.r AND (f.scope = 'variant' AND f.o = v.v OR f.scope = 'family' AND f.o = v.fam)))));
CREATE INDEX asked_i ON asked(q, r);
CREATE TABLE cr AS
SELECT row_number() OVER () AS k, x.q, x.cat, x.r, x.kind, v.v, v.fam, v.sfrom, v.sto, v.bfrom, v.bto, s.serial, s.b1, s.b2
FROM (SELECT q, cat, r, a, kind FROM asked
      UNION SELECT q.q, q.cat, r.r, r.a, r.kind FROM qpart p JOIN question q USING (q) JOIN role r ON r.cat = q.cat) x
JOIN cand c ON c.q = x.q AND c.a = x.a JOIN variant v ON v.cat = x.cat AND v.v = c.v JOIN state s ON s.q = x.q AND s.a = x.a;
CREATE UNIQUE INDEX cr_k ON cr(k);

-- O1: the statements for a candidate in a role.
CREATE TABLE st AS
SELECT c.k, f.f FROM cr c JOIN fit f ON f.cat = c.cat AND f.r = c.r AND f.scope = 'variant' AND f.o = c.v
UNION
SELECT c.k, f.f FROM cr c JOIN fit f ON f.cat = c.cat AND f.r = c.r AND f.scope = 'family' AND f.o = c.fam
UNION
SELECT c.k, f.f FROM cr c JOIN sv ON sv.cat = c.cat AND sv.v = c.v JOIN fit f ON f.cat = c.cat AND f.m = sv.m AND f.val = sv.val WHERE f.scope = 'mark' AND f.r = c.r
UNION
SELECT c.k, f.f FROM cr c JOIN obs o ON o.q = c.q JOIN fit f ON f.cat = c.cat AND f.m = o.m AND f.val = o.val WHERE f.scope = 'mark' AND f.r = c.r;
CREATE INDEX st_k ON st(k);

-- O3: the cells of the serial number …
CREATE TABLE scell AS
WITH lim AS (SELECT k, coalesce(sfrom, 1) AS lo, coalesce(sto, 999999999999999999) AS hi FROM cr WHERE serial IS NULL),
  b(k, x) AS (
    SELECT k, lo FROM lim
    UNION SELECT l.k, f.sfrom FROM lim l JOIN st ON st.k = l.k JOIN fit f ON f.f = st.f WHERE f.sfrom BETWEEN l.lo AND l.hi
    UNION SELECT l.k, f.sto + 1 FROM lim l JOIN st ON st.k = l.k JOIN fit f ON f.f = st.f WHERE f.sto + 1 BETWEEN l.lo AND l.hi)
SELECT b.k, x AS s1, coalesce(lead(x) OVER (PARTITION BY b.k ORDER BY x) - 1, hi) AS s2 FROM b JOIN lim USING (k)
UNION ALL
SELECT k, serial, serial FROM cr WHERE serial IS NOT NULL;
CREATE INDEX scell_k ON scell(k);
-- … of the build date, of which a known one may still be many days …
CREATE TABLE bcell AS
WITH own AS (SELECT k, b1, b2, coalesce(bfrom, 0) AS lo, coalesce(bto, 9999999) AS hi FROM cr),
  lim AS (
    SELECT k,
      CASE WHEN b1 IS NULL THEN lo WHEN max(b1, lo) <= min(b2, hi) THEN max(b1, lo) ELSE b1 END AS lo,
      CASE WHEN b1 IS NULL THEN hi WHEN max(b1, lo) <= min(b2, hi) THEN min(b2, hi) ELSE b2 END AS hi FROM own),
  b(k, x) AS (
    SELECT k, lo FROM lim
    UNION SELECT l.k, f.bfrom FROM lim l JOIN st ON st.k = l.k JOIN fit f ON f.f = st.f WHERE f.bfrom BETWEEN l.lo AND l.hi
    UNION SELECT l.k, f.bto + 1 FROM lim l JOIN st ON st.k = l.k JOIN fit f ON f.f = st.f WHERE f.bto + 1 BETWEEN l.lo AND l.hi)
SELECT b.k, x AS b1, coalesce(lead(x) OVER (PARTITION BY b.k ORDER BY x) - 1, hi) AS b2 FROM b JOIN lim USING (k);
CREATE INDEX bcell_k ON bcell(k);
-- … and the values of the marks that conditions name: observed, else shown,
-- else each named and '' for any other.
CREATE TABLE mk AS
SELECT k, m, row_number() OVER (PARTITION BY k ORDER BY m) AS i
FROM (SELECT DISTINCT st.k, c.m FROM st JOIN cond c ON c.f = st.f);
CREATE INDEX mk_k ON mk(k, i);
CREATE TABLE mv AS
SELECT DISTINCT mk.k, mk.m, o.val FROM mk JOIN cr ON cr.k = mk.k JOIN obs o ON o.q = cr.q AND o.m = mk.m
UNION
SELECT mk.k, mk.m, sv.val FROM mk JOIN cr ON cr.k = mk.k JOIN sv ON sv.cat = cr.cat AND sv.v = cr.v AND sv.m = mk.m
WHERE NOT EXISTS (SELECT 1 FROM obs o WHERE o.q = cr.q AND o.m = mk.m)
UNION
SELECT mk.k, mk.m, n.val FROM mk JOIN cr ON cr.k = mk.k JOIN (SELECT st.k, c.m, c.val FROM st JOIN cond c ON c.f = st.f UNION SELECT k, m, '' FROM mk) n ON n.k = mk.k AND n.m = mk.m
WHERE NOT EXISTS (SELECT 1 FROM obs o WHERE o.q = cr.q AND o.m = mk.m)
  AND NOT EXISTS (SELECT 1 FROM sv WHERE sv.cat = cr.cat AND sv.v = cr.v AND sv.m = mk.m);
CREATE INDEX mv_k ON mv(k, m);
CREATE TABLE mw AS
WITH RECURSIVE x(k, i, marks) AS (
  SELECT k, 0, ';' FROM cr
  UNION ALL
  SELECT x.k, x.i + 1, x.marks || mk.m || '=' || mv.val || ';' FROM x JOIN mk ON mk.k = x.k AND mk.i = x.i + 1 JOIN mv ON mv.k = x.k AND mv.m = mk.m)
SELECT x.k, x.marks FROM x WHERE x.i = (SELECT count(*) FROM mk WHERE mk.k = x.k);
CREATE INDEX mw_k ON mw(k);
CREATE TABLE world AS
SELECT row_number() OVER () AS w, s.k, s.s1, s.s2, b.b1, b.b2, m.marks
FROM scell s JOIN bcell b USING (k) JOIN mw m USING (k);
CREATE UNIQUE INDEX world_w ON world(w);

-- O2: the statements that apply in a world. Cells never straddle an end.
CREATE TABLE app AS
SELECT w.w, f.f FROM world w JOIN st ON st.k = w.k JOIN fit f ON f.f = st.f
WHERE coalesce(f.sfrom <= w.s1, 1) AND coalesce(w.s2 <= f.sto, 1)
  AND coalesce(f.bfrom <= w.b1, 1) AND coalesce(w.b2 <= f.bto, 1)
  AND NOT EXISTS (SELECT 1 FROM cond c WHERE c.f = f.f AND instr(w.marks, ';' || c.m || '=' || c.val || ';') = 0)
ORDER BY w.w, f.f;
CREATE INDEX app_w ON app(w);

-- O8: the fill row of a variant, else of its family, and the volume that the
-- scope of work takes. A dry unit takes no less than a drained one.
CREATE TABLE wfill AS
SELECT c.k, f.spec,
  CASE WHEN EXISTS (SELECT 1 FROM qwork q JOIN work w ON w.cat = c.cat AND w.w = q.w WHERE q.q = c.q AND w.fill = 'dry') THEN f.dry
       WHEN EXISTS (SELECT 1 FROM qwork q JOIN work w ON w.cat = c.cat AND w.w = q.w WHERE q.q = c.q AND w.fill = 'refill') THEN f.refill END AS vol
FROM cr c JOIN fill f ON f.cat = c.cat AND f.r = c.r
  AND (f.scope = 'variant' AND f.o = c.v
       OR f.scope = 'family' AND f.o = c.fam AND NOT EXISTS (SELECT 1 FROM fill g WHERE g.cat = c.cat AND g.r = c.r AND g.scope = 'variant' AND g.o = c.v))
WHERE c.kind = 'fluid';
CREATE INDEX wfill_k ON wfill(k);

-- Worlds in which the same statements apply have the same outcome: they share a
-- situation, and what follows is worked out once for each.
CREATE TABLE wsig AS
SELECT w.w, w.k, c.q, c.cat, c.r, c.kind, coalesce((SELECT group_concat(f) FROM app WHERE app.w = w.w), '') AS sig,
  coalesce(l.spec, '') AS spec, coalesce(l.vol, '') AS vol
FROM world w JOIN cr c ON c.k = w.k LEFT JOIN wfill l ON l.k = w.k;
CREATE TABLE sit AS
SELECT row_number() OVER () AS s, * FROM (SELECT cat, r, kind, sig, spec, vol, min(w) AS w FROM wsig GROUP BY cat, r, sig, spec, vol);
CREATE UNIQUE INDEX sit_s ON sit(s);
CREATE INDEX sit_i ON sit(cat, r, sig, spec, vol);
CREATE TABLE ws AS
SELECT g.w, g.k, g.q, g.r, s.s FROM wsig g JOIN sit s ON s.cat = g.cat AND s.r = g.r AND s.sig = g.sig AND s.spec = g.spec AND s.vol = g.vol;
CREATE INDEX ws_q ON ws(q, r, s);
CREATE TABLE sf AS
SELECT s.s, f.f, f.effect, f.p, f.pos, f.qty, f.rank FROM sit s JOIN app ON app.w = s.w JOIN fit f ON f.f = app.f;
CREATE INDEX sf_s ON sf(s);

-- O4: what is ruled out. Situations that rule out the same parts share a context x.
CREATE TABLE sctx AS
SELECT s.s, s.cat, EXISTS (SELECT 1 FROM sf WHERE sf.s = s.s AND sf.effect = 'does-not-fit' AND sf.p = '') AS everything,
  coalesce((SELECT group_concat(p, ';') FROM (SELECT DISTINCT p FROM sf WHERE sf.s = s.s AND sf.effect = 'does-not-fit' ORDER BY p)), '') AS sig
FROM sit s;
CREATE INDEX sctx_s ON sctx(s);
CREATE TABLE ctx AS
SELECT row_number() OVER () AS x, cat, everything, ';' || sig || ';' AS sig FROM (SELECT DISTINCT cat, everything, sig FROM sctx);
CREATE INDEX ctx_i ON ctx(cat, sig);
CREATE TABLE sx AS
SELECT c.s, x.x FROM sctx c JOIN ctx x ON x.cat = c.cat AND x.everything = c.everything AND x.sig = ';' || c.sig || ';';
CREATE UNIQUE INDEX sx_s ON sx(s);
CREATE TABLE free AS -- the parts that a context does not rule out
SELECT x.x, x.cat, p.p, p.sold FROM ctx x JOIN part p ON p.cat = x.cat WHERE NOT x.everything AND instr(x.sig, ';' || p.p || ';') = 0;
CREATE UNIQUE INDEX free_i ON free(x, p);

-- O5: from each part along one-way and two-way rows to each part reached: the
-- fewest steps, the quantity and the parts on the way.
CREATE TABLE edge AS
SELECT cat, old, new, qty FROM sup WHERE kind IN ('one-way', 'two-way')
UNION SELECT cat, new, old, qty FROM sup WHERE kind = 'two-way';
CREATE INDEX edge_i ON edge(cat, old);
CREATE TABLE reach AS
WITH RECURSIVE rr(x, cat, start, p, steps, qty, way) AS (
  SELECT x, cat, p, p, 0, 1, ';' FROM free
  UNION ALL
  SELECT rr.x, rr.cat, rr.start, e.new, rr.steps + 1, rr.qty * e.qty, rr.way || rr.p || ';'
  FROM rr JOIN edge e ON e.cat = rr.cat AND e.old = rr.p JOIN free f ON f.x = rr.x AND f.p = e.new
  WHERE instr(rr.way, ';' || e.new || ';') = 0)
SELECT x, cat, start, p, steps, qty, way
FROM (SELECT *, row_number() OVER (PARTITION BY x, start, p ORDER BY steps, replace(way, ';', char(1)), qty) AS nth FROM rr) WHERE nth = 1;
CREATE INDEX reach_i ON reach(x, start);

-- O5: choices from each part, for one piece of it: S = one part, X = the pieces
-- of a split. A piece of a split is filled by its own first choice, which may
-- be a split again: each round knows the firsts of the round before.
CREATE TABLE cho(x INT, start TEXT, ch TEXT, steps INT, buyable INT);
CREATE TABLE choi(x INT, start TEXT, ch TEXT, p TEXT, qty INT, way TEXT);
CREATE TABLE first(x INT, start TEXT, ch TEXT, steps INT);
CREATE INDEX cho_i ON cho(x, start, ch);
CREATE INDEX choi_i ON choi(x, start, ch);
CREATE INDEX first_i ON first(x, start);
CREATE TABLE grown(ch TEXT); -- tells whether the last round still changed something
-- :repeat 5
CREATE TEMP TABLE newcho AS
SELECT r.x, r.start, 'S' || r.p AS ch, r.steps, 1 AS buyable FROM reach r JOIN free f ON f.x = r.x AND f.p = r.p WHERE f.sold
UNION ALL
SELECT r.x, r.start, 'X' || r.p, r.steps + 1 + max(f.steps), 1
FROM reach r JOIN sup s ON s.cat = r.cat AND s.old = r.p AND s.kind = 'split' LEFT JOIN first f ON f.x = r.x AND f.start = s.new
GROUP BY r.x, r.start, r.p HAVING count(f.ch) = count(*);
CREATE TEMP TABLE newchoi AS -- equal pieces are added up, with all their ways
SELECT x, start, ch, p, sum(qty) AS qty, group_concat(way, '') AS way FROM (
  SELECT r.x, r.start, 'S' || r.p AS ch, r.p, r.qty, r.way FROM reach r JOIN free f ON f.x = r.x AND f.p = r.p WHERE f.sold
  UNION ALL
  SELECT r.x, r.start, 'X' || r.p, i.p, r.qty * s.qty * i.qty, r.way || r.p || i.way
  FROM newcho n CROSS JOIN reach r ON r.x = n.x AND r.start = n.start AND r.p = substr(n.ch, 2)
  JOIN sup s ON s.cat = r.cat AND s.old = r.p AND s.kind = 'split'
  JOIN first f ON f.x = r.x AND f.start = s.new JOIN choi i ON i.x = r.x AND i.start = s.new AND i.ch = f.ch
  WHERE substr(n.ch, 1, 1) = 'X')
GROUP BY x, start, ch, p;
DELETE FROM grown;
INSERT INTO grown SELECT 1 FROM (SELECT * FROM newchoi EXCEPT SELECT * FROM choi) LIMIT 1;
DELETE FROM cho;
DELETE FROM choi;
INSERT INTO cho SELECT * FROM newcho;
INSERT INTO choi SELECT * FROM newchoi;
DROP TABLE newcho;
DROP TABLE newchoi;
DELETE FROM first;
INSERT INTO first
SELECT x, start, ch, steps FROM (
  SELECT x, start, ch, steps, row_number() OVER (PARTITION BY x, start ORDER BY steps, keys, qtys) AS nth FROM (
    SELECT c.x, c.start, c.ch, c.steps,
      iif(substr(c.ch, 1, 1) = 'S', substr(c.ch, 2), (SELECT group_concat(p, ' ') FROM (SELECT DISTINCT p FROM choi i WHERE i.x = c.x AND i.start = c.start AND i.ch = c.ch ORDER BY p))) AS keys,
      iif(substr(c.ch, 1, 1) = 'S', '', (SELECT group_concat(qty, ' ') FROM (SELECT p, sum(qty) AS qty FROM choi i WHERE i.x = c.x AND i.start = c.start AND i.ch = c.ch GROUP BY p ORDER BY p))) AS qtys
    FROM cho c))
WHERE nth = 1;
-- :end
-- O5: where no choice is left, the stated part cannot be bought.
INSERT INTO cho SELECT f.x, f.p, 'U' || f.p, 0, 0 FROM free f WHERE NOT EXISTS (SELECT 1 FROM cho c WHERE c.x = f.x AND c.start = f.p);
INSERT INTO choi SELECT x, start, ch, start, 1, ';' FROM cho WHERE buyable = 0;
-- What fills a companion: its first choice.
CREATE TABLE fill1 AS
SELECT i.x, i.start, i.p, i.qty, i.way
FROM (SELECT x, start, ch FROM first UNION ALL SELECT x, start, ch FROM cho WHERE buyable = 0) f
JOIN choi i ON i.x = f.x AND i.start = f.start AND i.ch = f.ch;
CREATE INDEX fill1_i ON fill1(x, start);

-- O6: choices with the quantity that a statement asks for, and their companions.
CREATE TABLE ci AS
SELECT row_number() OVER () AS id, * FROM (
  SELECT DISTINCT sx.x, s.cat, sf.p AS start, sf.qty, c.ch, c.steps, c.buyable
  FROM sit s JOIN sf ON sf.s = s.s JOIN sx ON sx.s = s.s JOIN cho c ON c.x = sx.x AND c.start = sf.p
  WHERE s.kind = 'part' AND sf.effect = 'fits');
CREATE UNIQUE INDEX ci_id ON ci(id);
CREATE INDEX ci_i ON ci(x, start, qty);
CREATE TABLE cii AS
SELECT c.id, c.x, c.cat, i.p, c.qty * i.qty AS qty, i.way FROM ci c JOIN choi i ON i.x = c.x AND i.start = c.start AND i.ch = c.ch;
CREATE INDEX cii_i ON cii(id, p);
-- What demands companions: the items, and each part that a demand brings, with
-- the parts whose demands led to it. Part by part, never added up before.
CREATE TABLE demand AS
WITH RECURSIVE d(id, x, cat, p, per, qty, way, chain) AS (
  SELECT id, x, cat, p, '', qty, way, ';' || p || ';' FROM cii
  UNION ALL
  SELECT d.id, d.x, d.cat, l.p, iif(d.per = 'job', 'job', k.per), k.qty * iif(k.per = 'part', d.qty, 1) * l.qty, l.way, d.chain || l.p || ';'
  FROM d JOIN comp k ON k.cat = d.cat AND k.p = d.p JOIN fill1 l ON l.x = d.x AND l.start = k.c
  WHERE (k.rep = '' OR instr(d.way, ';' || k.rep || ';'))
    AND instr(d.chain, ';' || l.p || ';') = 0
    AND NOT EXISTS (SELECT 1 FROM cii o WHERE o.id = d.id AND o.p = l.p))
SELECT id, cat, p, per, qty FROM d WHERE per <> '';
CREATE INDEX demand_i ON demand(id, p);
-- Each companion once: part demands added up, and the largest job demand.
CREATE TABLE compq AS
SELECT id, cat, p, sum(iif(per = 'part', qty, 0)) + max(iif(per = 'job', qty, 0)) AS qty FROM demand GROUP BY id, p;
CREATE INDEX compq_i ON compq(id, p);
CREATE TABLE canon AS
SELECT c.id, c.x, c.start, c.qty, c.steps,
  c.buyable AND NOT EXISTS (SELECT 1 FROM compq q JOIN part p ON p.cat = q.cat AND p.p = q.p WHERE q.id = c.id AND NOT p.sold) AS buyable,
  (SELECT group_concat(p, ' ') FROM (SELECT p FROM cii i WHERE i.id = c.id ORDER BY p)) AS keys,
  (SELECT group_concat(printf('%08d', qty), ' ') FROM (SELECT qty FROM cii i WHERE i.id = c.id ORDER BY p)) AS qtys,
  (SELECT group_concat(p || '*' || qty, '+') FROM (SELECT p, qty FROM cii i WHERE i.id = c.id ORDER BY p)) AS items,
  coalesce((SELECT group_concat(p || '*' || qty, '+') FROM (SELECT p, qty FROM compq q WHERE q.id = c.id ORDER BY p)), '') AS comps
FROM ci c;
CREATE INDEX canon_i ON canon(x, start, qty);

-- The choices of each position of a situation. The same choice by two ways
-- counts once, with the place of the first.
CREATE TABLE sitch0 AS
SELECT s.s, sf.pos, c.items || iif(c.comps = '', '', ' with ' || c.comps) || iif(c.buyable, '', ' unbuyable') AS canon,
  c.items, c.comps, c.buyable, c.keys, c.qtys, sf.rank, c.steps
FROM sit s JOIN sf ON sf.s = s.s JOIN sx ON sx.s = s.s JOIN canon c ON c.x = sx.x AND c.start = sf.p AND c.qty = sf.qty
WHERE s.kind = 'part' AND sf.effect = 'fits';
-- O8: fluids that are sold and meet the specification, or one that serves for
-- it; the asked one first, and within each approved before claimed.
CREATE TABLE fluid AS
SELECT s.s, s.cat, m.p, m.spec, iif(m.claim = 'approved', 0, 1) AS rank, 0 AS steps, s.vol FROM sit s JOIN meet m ON m.cat = s.cat AND m.spec = s.spec WHERE s.kind = 'fluid'
UNION ALL
SELECT s.s, s.cat, m.p, m.spec, iif(m.claim = 'approved', 2, 3), 0, s.vol FROM sit s JOIN serve v ON v.cat = s.cat AND v.spec = s.spec JOIN meet m ON m.cat = s.cat AND m.spec = v.servedby WHERE s.kind = 'fluid';
-- A specification that the fluid's own data sheet belies makes it no choice.
CREATE TABLE belied AS
SELECT DISTINCT h.cat, l.spec, h.p FROM lim l JOIN sheet h ON h.cat = l.cat AND h.prop = l.prop WHERE coalesce(h.num < l.least, 0) OR coalesce(h.num > l.most, 0);
CREATE INDEX belied_i ON belied(cat, spec, p);
CREATE TABLE trusted AS
SELECT * FROM fluid l WHERE NOT EXISTS (SELECT 1 FROM belied b WHERE b.cat = l.cat AND b.spec = l.spec AND b.p = l.p);
-- What only the data sheet keeps from being a choice of a situation.
CREATE TABLE untrusted AS
SELECT DISTINCT l.s, l.p FROM fluid l JOIN sx ON sx.s = l.s JOIN free f ON f.x = sx.x AND f.p = l.p
WHERE f.sold AND NOT EXISTS (SELECT 1 FROM trusted t WHERE t.s = l.s AND t.p = l.p);
CREATE INDEX untrusted_i ON untrusted(s, p);
INSERT INTO sitch0
SELECT l.s, '', l.p || '*' || l.vol || 'ml', l.p || '*' || l.vol || 'ml', '', 1, l.p, '', l.rank, l.steps
FROM trusted l JOIN sx ON sx.s = l.s JOIN free f ON f.x = sx.x AND f.p = l.p WHERE f.sold;
CREATE TABLE sitch AS
SELECT * FROM (SELECT *, row_number() OVER (PARTITION BY s, pos, canon ORDER BY rank, steps) AS nth FROM sitch0) WHERE nth = 1;
CREATE INDEX sitch_s ON sitch(s, pos, canon);

-- O7, O8: the outcome.
CREATE TABLE outcome0 AS
SELECT s.s, s.kind, s.spec,
  (SELECT count(DISTINCT pos) FROM sf WHERE sf.s = s.s AND sf.effect = 'fits') AS wants,
  (SELECT count(DISTINCT pos) FROM sitch c WHERE c.s = s.s) AS keeps,
  EXISTS (SELECT 1 FROM sf WHERE sf.s = s.s AND sf.effect = 'does-not-fit') AS ruled,
  EXISTS (SELECT 1 FROM sf WHERE sf.s = s.s AND sf.effect = 'does-not-fit' AND sf.p = '')
    OR EXISTS (SELECT 1 FROM fluid l JOIN part p ON p.cat = l.cat AND p.p = l.p JOIN sf ON sf.s = s.s AND sf.effect = 'does-not-fit' AND sf.p = l.p WHERE l.s = s.s AND p.sold) AS fluidruled
FROM sit s;
CREATE TABLE outcome AS
SELECT s, outcome,
  outcome || iif(outcome = 'fits', coalesce((SELECT group_concat(line, '') FROM (
    SELECT ' {' || pos || ': ' || group_concat(canon, ' / ') || '}' AS line
    FROM (SELECT pos, canon FROM sitch c WHERE c.s = x.s ORDER BY pos, canon) GROUP BY pos ORDER BY pos)), ''), '') AS content
FROM (
  SELECT s, CASE kind
    WHEN 'part' THEN CASE
      WHEN wants = 0 AND NOT ruled THEN 'no-statement'
      WHEN keeps = 0 THEN 'does-not-fit'
      WHEN keeps = wants THEN 'fits'
      ELSE 'no-statement' END
    ELSE CASE
      WHEN spec = '' THEN iif(ruled, 'does-not-fit', 'no-statement')
      WHEN keeps > 0 THEN 'fits'
      WHEN fluidruled AND NOT EXISTS (SELECT 1 FROM untrusted u WHERE u.s = outcome0.s) THEN 'does-not-fit'
      ELSE 'no-statement' END
    END AS outcome
  FROM outcome0) x;
CREATE UNIQUE INDEX outcome_s ON outcome(s);

---------------------------------------------------------------------------
-- Verdicts

-- V1
CREATE TABLE qs AS SELECT DISTINCT q, r, s FROM ws;
CREATE INDEX qs_i ON qs(q, r);
CREATE TABLE common AS
SELECT qs.q, qs.r, c.pos, c.canon, c.items, c.comps, c.buyable, c.keys, c.qtys, max(c.rank) AS rank, max(c.steps) AS steps
FROM qs JOIN sitch c ON c.s = qs.s
GROUP BY qs.q, qs.r, c.pos, c.canon
HAVING count(*) = (SELECT count(*) FROM qs x WHERE x.q = qs.q AND x.r = qs.r);
CREATE INDEX common_i ON common(q, r, pos);
CREATE TABLE verdict AS
SELECT x.q, x.r, CASE
  WHEN NOT EXISTS (SELECT 1 FROM qs WHERE qs.q = x.q AND qs.r = x.r) THEN 'not-settled'
  WHEN NOT EXISTS (SELECT 1 FROM qs JOIN outcome o USING (s) WHERE qs.q = x.q AND qs.r = x.r AND o.outcome <> 'does-not-fit') THEN 'does-not-fit'
  WHEN NOT EXISTS (SELECT 1 FROM qs JOIN outcome o USING (s) WHERE qs.q = x.q AND qs.r = x.r AND o.outcome <> 'fits')
   AND NOT EXISTS ( -- a position of some world that is not in all, or has nothing common to all
     SELECT 1 FROM qs JOIN sitch c ON c.s = qs.s WHERE qs.q = x.q AND qs.r = x.r
     AND NOT EXISTS (SELECT 1 FROM common m WHERE m.q = x.q AND m.r = x.r AND m.pos = c.pos)) THEN 'fits'
  ELSE 'not-settled' END AS verdict
FROM (SELECT q, r FROM asked) x;
CREATE INDEX verdict_i ON verdict(q, r);
-- The order of choices. Of two with the same items in other quantities the
-- smaller comes first.
CREATE TABLE line AS
SELECT c.*, row_number() OVER (PARTITION BY c.q, c.r, c.pos ORDER BY c.buyable DESC, c.rank, c.steps, c.keys, c.qtys, c.comps) AS nth
FROM common c JOIN verdict v ON v.q = c.q AND v.r = c.r WHERE v.verdict = 'fits';

-- V3: the gate before ordering.
CREATE TABLE gate AS
SELECT l.q, l.r, l.pos, l.items, l.comps,
  l.buyable
  AND NOT EXISTS (SELECT 1 FROM conflict c WHERE c.q = l.q)
  AND NOT (a.kind = 'fluid' AND l.items LIKE '%*ml'
           AND EXISTS (SELECT 1 FROM qwork k JOIN work w ON w.cat = a.cat AND w.w = k.w WHERE k.q = l.q AND w.fill <> 'none'))
  AND NOT EXISTS (
    SELECT 1 FROM note n WHERE n.cat = a.cat AND instr('+' || l.items || '+' || l.comps, '+' || n.p || '*')
    AND (n.fam = '' OR n.fam IN (SELECT v.fam FROM cand c JOIN variant v ON v.cat = c.cat AND v.v = c.v WHERE c.q = l.q))) AS safe
FROM line l JOIN asked a ON a.q = l.q AND a.r = l.r WHERE l.nth = 1;

-- V4: the part that goes by a number; where it is reached; its roles.
CREATE TABLE pq AS
SELECT k.q, q.cat, k.asked, coalesce((SELECT p FROM part WHERE part.cat = q.cat AND part.p = k.asked), (SELECT p FROM number n WHERE n.cat = q.cat AND n.n = k.asked)) AS p
FROM qpart k JOIN question q USING (q);
CREATE TABLE preach AS -- for whole trails and split choices alike
SELECT x, start, p FROM reach
UNION
SELECT x, start, p FROM choi WHERE substr(ch, 1, 1) = 'X';
CREATE INDEX preach_i ON preach(x, start, p);
CREATE TABLE alledge AS SELECT cat, old, new FROM edge UNION SELECT cat, old, new FROM sup WHERE kind = 'split';
CREATE INDEX alledge_i ON alledge(cat, old);
CREATE TABLE leads AS
WITH RECURSIVE y(cat, start, p) AS (
  SELECT cat, p, p FROM part
  UNION
  SELECT y.cat, y.start, e.new FROM y JOIN alledge e ON e.cat = y.cat AND e.old = y.p)
SELECT cat, start, p FROM y;
CREATE INDEX leads_i ON leads(cat, p);
CREATE TABLE prole AS
SELECT DISTINCT pq.q, pq.cat, pq.p, f.r FROM pq JOIN leads l ON l.cat = pq.cat AND l.p = pq.p JOIN fit f ON f.cat = pq.cat AND f.p = l.start
UNION
SELECT pq.q, pq.cat, pq.p, r.r FROM pq JOIN part t ON t.cat = pq.cat AND t.p = pq.p AND t.kind = 'fluid' JOIN role r ON r.cat = pq.cat AND r.kind = 'fluid';
CREATE TABLE pworld AS
SELECT pr.q, pr.p, pr.r, qs.s, CASE
  WHEN NOT EXISTS (SELECT 1 FROM free f WHERE f.x = sx.x AND f.p = pr.p) THEN 'does-not-fit'
  WHEN s.kind = 'part' AND EXISTS (SELECT 1 FROM sf JOIN preach y ON y.x = sx.x AND y.start = sf.p AND y.p = pr.p WHERE sf.s = qs.s AND sf.effect = 'fits') THEN 'fits'
  WHEN s.kind = 'fluid' AND EXISTS (SELECT 1 FROM sitch c WHERE c.s = qs.s AND c.keys = pr.p) THEN 'fits'
  WHEN EXISTS (SELECT 1 FROM untrusted u WHERE u.s = qs.s AND u.p = pr.p) THEN 'unstated'
  WHEN o.outcome = 'fits' THEN 'does-not-fit'
  ELSE 'unstated' END AS says
FROM prole pr JOIN qs ON qs.q = pr.q AND qs.r = pr.r JOIN sx ON sx.s = qs.s JOIN sit s ON s.s = qs.s JOIN outcome o ON o.s = qs.s;
CREATE INDEX pworld_i ON pworld(q, p, r);
CREATE TABLE pverdict AS
SELECT pr.q, pr.p, pr.r, CASE (SELECT group_concat(says) FROM (SELECT DISTINCT says FROM pworld w WHERE w.q = pr.q AND w.p = pr.p AND w.r = pr.r))
  WHEN 'fits' THEN 'fits' WHEN 'does-not-fit' THEN 'does-not-fit' ELSE 'not-settled' END AS verdict
FROM prole pr;
CREATE INDEX pverdict_i ON pverdict(q, p);

---------------------------------------------------------------------------
-- What the judge says: one fact a line.

.mode list
.separator "\t"
SELECT 'state', s.q, s.a, s.basis, coalesce((SELECT group_concat(v, ' ') FROM (SELECT v FROM cand c WHERE c.q = s.q AND c.a = s.a ORDER BY v)), '') FROM state s;
SELECT 'mixed', q, max(mixed) FROM state GROUP BY q;
-- C2c: what a seal is condemned by for a candidate that shows its row; of what is no
-- evidence every row condemns.
SELECT DISTINCT 'condemned', o.q, o.m, c.v FROM obs o JOIN question q USING (q) JOIN mark m ON m.cat = q.cat AND m.m = o.m
JOIN cand c ON c.q = o.q AND c.a = m.a JOIN hv sv ON sv.cat = q.cat AND sv.v = c.v AND sv.m = o.m AND sv.row
WHERE EXISTS (SELECT 1 FROM faulty f WHERE f.q = o.q AND f.m = o.m)
  OR EXISTS (SELECT 1 FROM sealmark k WHERE k.cat = q.cat AND k.m = o.m) AND (coalesce(o.num < sv.least, 0) OR coalesce(o.num <= sv.fitted, 0));
SELECT DISTINCT 'faulty', q, m FROM faulty;
SELECT 'conflict', b.q, b.a, (SELECT group_concat(t, ' & ') FROM (
  SELECT e.kind || iif(e.mark = '', '', ' ' || e.mark) || iif(e.kind = 'built', '', ' ' || e.txt) AS t FROM ev e WHERE e.q = b.q AND e.a = b.a AND b.mask & (1 << e.i) ORDER BY t)) FROM smallest b;
SELECT 'verdict', q, r, verdict FROM verdict;
SELECT DISTINCT 'world', c.q, c.r, c.v, w.s1, w.s2, w.b1, w.b2, w.marks, o.content
FROM asked a JOIN cr c ON c.q = a.q AND c.r = a.r JOIN world w ON w.k = c.k JOIN ws ON ws.w = w.w JOIN outcome o ON o.s = ws.s;
SELECT 'line', q, r, pos, nth, buyable, rank, steps, keys, canon FROM line ORDER BY q, r, pos, nth;
SELECT 'safe', q, r, pos, items || iif(comps = '', '', ' with ' || comps) FROM gate WHERE safe;
SELECT 'held', q, r, pos FROM gate WHERE NOT safe;
SELECT 'held', q, r, '' FROM verdict v WHERE verdict = 'not-settled'
   OR verdict = 'does-not-fit' AND EXISTS (SELECT 1 FROM qs JOIN sctx c ON c.s = qs.s WHERE qs.q = v.q AND qs.r = v.r AND NOT c.everything);
SELECT DISTINCT 'partrole', pq.q, pq.asked, v.r, v.verdict FROM pq JOIN pverdict v ON v.q = pq.q AND v.p = pq.p;
SELECT DISTINCT 'pworld', pq.q, pq.asked, pw.r, c.v, w.s1, w.s2, w.b1, w.b2, w.marks, pw.says
FROM pq JOIN pworld pw ON pw.q = pq.q AND pw.p = pq.p JOIN ws ON ws.q = pw.q AND ws.r = pw.r AND ws.s = pw.s JOIN world w ON w.w = ws.w JOIN cr c ON c.k = w.k;
SELECT 'part', pq.q, pq.asked, coalesce(pq.p, ''), CASE
  WHEN EXISTS (SELECT 1 FROM conflict c WHERE c.q = pq.q) THEN 'not-settled'
  WHEN EXISTS (SELECT 1 FROM pverdict v WHERE v.q = pq.q AND v.p = pq.p AND v.verdict = 'fits') THEN 'fits'
  WHEN EXISTS (SELECT 1 FROM pverdict v WHERE v.q = pq.q AND v.p = pq.p)
   AND NOT EXISTS (SELECT 1 FROM pverdict v WHERE v.q = pq.q AND v.p = pq.p AND v.verdict = 'not-settled') THEN 'does-not-fit'
  ELSE 'not-settled' END FROM pq;
-- What the judge cannot judge: splits deeper than its rounds.
SELECT 'unjudged', 'split' FROM grown;
