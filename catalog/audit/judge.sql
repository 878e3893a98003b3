-- The kinds of findings (finding.go), written again in SQL from their
-- definitions. The driver loads every table of a catalogue as it is (codes and
-- targets folded, values folded as values, the words of a when list in fit_asks),
-- runs this file, and holds each row that it says, KIND|FACTS, against the
-- findings. What is not judged here: codes that do not suit their layout, plates
-- that can be read in two ways, names that look alike, circles.

-- :load

-- What replaces what: two-way rows in both directions.
CREATE TEMP TABLE step AS
SELECT old, new FROM supersessions
UNION SELECT new, old FROM supersessions WHERE kind = 'two-way';
CREATE TEMP TABLE leads AS
WITH RECURSIVE l(a, b) AS (SELECT old, new FROM step UNION SELECT l.a, s.new FROM l JOIN step s ON s.old = l.b)
SELECT * FROM l;

-- Statements with their ranges as numbers. Open ends reach very far.
CREATE TEMP TABLE f AS
SELECT rowid AS f, scope, "of", statement, role, effect, part, position AS pos, qty, coalesce(rank, 0) AS rank,
  coalesce(serial_from, -9e15) AS s1, coalesce(serial_to, 9e15) AS s2, coalesce(built_from, -9e15) AS b1, coalesce(built_to, 9e15) AS b2,
  scope || '/' || "of" || '/' || statement AS name,
  (SELECT group_concat(mark || '=' || value, ';') FROM (SELECT mark, value FROM fit_asks a WHERE a.f = fits.rowid ORDER BY mark, value)) AS asks
FROM fits;
UPDATE f SET asks = coalesce(asks, '');
CREATE INDEX temp.f_i ON f(scope, "of");
CREATE INDEX temp.f_f ON f(f);
CREATE INDEX fit_asks_i ON fit_asks(f);

-- What a variant shows: its own rows of a mark, else its family's.
CREATE TEMP TABLE sv AS
SELECT v.variant AS v, s.mark, s.value, s.tolerance FROM variants v JOIN shows s ON s.scope = 'variant' AND s."of" = v.variant
UNION ALL
SELECT v.variant, s.mark, s.value, s.tolerance FROM variants v JOIN shows s ON s.scope = 'family' AND s."of" = v.family
WHERE NOT EXISTS (SELECT 1 FROM shows t WHERE t.scope = 'variant' AND t."of" = v.variant AND t.mark = s.mark);
CREATE INDEX temp.sv_i ON sv(v, mark);

-- Units: variants, and families as they are without a variant. s1 to b2 bound them.
CREATE TEMP TABLE unit AS
SELECT 'v:' || variant AS u, variant AS v, family AS fam, coalesce(serial_from, -9e15) AS s1, coalesce(serial_to, 9e15) AS s2,
  coalesce(built_from, -9e15) AS b1, coalesce(built_to, 9e15) AS b2 FROM variants
UNION ALL SELECT 'f:' || family, '', family, -9e15, 9e15, -9e15, 9e15 FROM families;
CREATE TEMP TABLE us AS
SELECT 'v:' || v AS u, mark, value FROM sv
UNION SELECT 'f:' || "of", mark, value FROM shows WHERE scope = 'family';
CREATE TEMP TABLE ap AS
SELECT u.u, f.f FROM unit u JOIN f ON f.scope = 'family' AND f."of" = u.fam
UNION SELECT u.u, f.f FROM unit u JOIN f ON f.scope = 'variant' AND f."of" = u.v
UNION SELECT us.u, f.f FROM us JOIN f ON f.scope = 'mark' AND f."of" = us.mark || '=' || us.value;
CREATE INDEX temp.ap_u ON ap(u);
CREATE INDEX temp.ap_f ON ap(f);

-- Pairs of statements of one role: whether they overlap, and whether the first
-- holds wherever the second does.
CREATE TEMP TABLE two AS
SELECT x.f AS x, y.f AS y,
  x.s1 <= y.s2 AND y.s1 <= x.s2 AND x.b1 <= y.b2 AND y.b1 <= x.b2
  AND NOT EXISTS (SELECT 1 FROM fit_asks a JOIN fit_asks b ON b.f = y.f AND b.mark = a.mark AND b.value <> a.value WHERE a.f = x.f) AS meet,
  x.s1 <= y.s1 AND y.s2 <= x.s2 AND x.b1 <= y.b1 AND y.b2 <= x.b2
  AND NOT EXISTS (SELECT 1 FROM fit_asks a WHERE a.f = x.f AND NOT EXISTS (SELECT 1 FROM fit_asks b WHERE b.f = y.f AND b.mark = a.mark AND b.value = a.value)) AS holds
FROM f x JOIN f y ON y.role = x.role AND y.f <> x.f;
CREATE INDEX temp.two_i ON two(x, y);

-- Fits statements that are ruled out for a unit.
CREATE TEMP TABLE ruled AS
SELECT DISTINCT a.u, x.f FROM ap a JOIN f x ON x.f = a.f AND x.effect = 'fits'
JOIN ap b ON b.u = a.u JOIN f y ON y.f = b.f AND y.effect = 'does-not-fit' AND y.role = x.role AND (y.part = x.part OR y.part = '')
JOIN two ON two.x = y.f AND two.y = x.f AND two.holds;
CREATE INDEX temp.ruled_i ON ruled(u, f);

-- The pairs that meet in a unit (x before y by number). Two of a family meet in the
-- family itself, two about one mark with one value wherever that is shown.
CREATE TEMP TABLE met AS
SELECT a.u, a.f AS x, b.f AS y FROM ap a JOIN ap b ON b.u = a.u AND b.f > a.f
JOIN unit u ON u.u = a.u JOIN f x ON x.f = a.f JOIN f y ON y.f = b.f JOIN two t ON t.x = a.f AND t.y = b.f
WHERE t.meet AND u.s1 <= x.s2 AND x.s1 <= u.s2 AND u.b1 <= x.b2 AND x.b1 <= u.b2 AND u.s1 <= y.s2 AND y.s1 <= u.s2 AND u.b1 <= y.b2 AND y.b1 <= u.b2
  AND (x.scope = 'family' AND y.scope = 'family') = (u.v = '') AND NOT (x.scope = 'mark' AND y.scope = 'mark' AND x."of" = y."of")
UNION ALL
SELECT '', x.f, y.f FROM f x JOIN f y ON y.scope = 'mark' AND y."of" = x."of" AND y.f > x.f JOIN two t ON t.x = x.f AND t.y = y.f
WHERE x.scope = 'mark' AND t.meet;

CREATE TEMP TABLE pairs AS
SELECT met.u, met.x, met.y, x.name AS xn, y.name AS yn, x.scope = y.scope AND x."of" = y."of" AS same,
  EXISTS (SELECT 1 FROM ruled r WHERE r.u = met.u AND r.f IN (met.x, met.y)) AS out
FROM met JOIN f x ON x.f = met.x JOIN f y ON y.f = met.y;

SELECT DISTINCT 'contradiction|' || iif(covers.holds, 'wrong', 'doubtful') || '|' || min(p.xn, p.yn) || '|' || max(p.xn, p.yn)
FROM pairs p JOIN f a ON a.f IN (p.x, p.y) AND a.effect = 'fits' JOIN f n ON n.f IN (p.x, p.y) AND n.effect = 'does-not-fit'
JOIN two covers ON covers.x = n.f AND covers.y = a.f JOIN two under ON under.x = a.f AND under.y = n.f
WHERE n.part IN (a.part, '')
  AND instr('family mark variant', n.scope) <= instr('family mark variant', a.scope)
  AND NOT (p.same AND NOT covers.holds AND under.holds);

SELECT DISTINCT 'quantity-differs|wrong|' || min(p.xn, p.yn) || '|' || max(p.xn, p.yn)
FROM pairs p JOIN f x ON x.f = p.x AND x.effect = 'fits' JOIN f y ON y.f = p.y AND y.effect = 'fits'
WHERE x.part = y.part AND x.pos = y.pos AND x.qty <> y.qty AND NOT p.out;

CREATE TEMP TABLE rivals AS
SELECT p.*, x.s1 > -9e15 OR x.s2 < 9e15 AS xs, y.s1 > -9e15 OR y.s2 < 9e15 AS ys, x.b1 > -9e15 OR x.b2 < 9e15 AS xb, y.b1 > -9e15 OR y.b2 < 9e15 AS yb
FROM pairs p JOIN f x ON x.f = p.x AND x.effect = 'fits' JOIN f y ON y.f = p.y AND y.effect = 'fits'
WHERE x.part <> y.part AND x.pos = y.pos AND x.rank = y.rank AND NOT p.out
  AND NOT EXISTS (SELECT 1 FROM leads l WHERE l.a = x.part AND l.b = y.part OR l.a = y.part AND l.b = x.part);
SELECT DISTINCT 'equal-rank|doubtful|' || min(xn, yn) || '|' || max(xn, yn) FROM rivals WHERE NOT (same AND (xs AND ys OR xb AND yb));
SELECT DISTINCT 'break-overlap|wrong|' || min(xn, yn) || '|' || max(xn, yn) || '|' || iif(xs AND ys, 'serial', 'built') FROM rivals WHERE same AND (xs AND ys OR xb AND yb);

SELECT 'duplicate-statement|thin|' || min(x.name, y.name) || '|' || max(x.name, y.name)
FROM f x JOIN f y ON y.scope = x.scope AND y."of" = x."of" AND y.f > x.f
WHERE x.role = y.role AND x.effect = y.effect AND x.part = y.part AND x.pos = y.pos AND x.qty IS y.qty AND x.rank = y.rank
  AND x.s1 = y.s1 AND x.s2 = y.s2 AND x.b1 = y.b1 AND x.b2 = y.b2 AND x.asks = y.asks;

-- Gaps in serial ranges, number by number: below it one range of the target ends,
-- above it another begins, and nothing is stated for it.
WITH RECURSIVE n(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM n WHERE n < 100),
r AS (SELECT * FROM f WHERE effect = 'fits' AND (s1 > -9e15 OR s2 < 9e15) AND b1 = -9e15 AND b2 = 9e15),
g AS (SELECT DISTINCT scope, "of", role, pos, asks FROM r),
open AS (
  SELECT g.*, n.n FROM g JOIN n
  WHERE EXISTS (SELECT 1 FROM r WHERE r.scope = g.scope AND r."of" = g."of" AND r.role = g.role AND r.pos = g.pos AND r.asks = g.asks AND r.s2 < n.n)
    AND EXISTS (SELECT 1 FROM r WHERE r.scope = g.scope AND r."of" = g."of" AND r.role = g.role AND r.pos = g.pos AND r.asks = g.asks AND r.s1 > n.n)
    AND NOT EXISTS (SELECT 1 FROM r WHERE r.scope = g.scope AND r."of" = g."of" AND r.role = g.role AND r.pos = g.pos AND r.asks = g.asks AND r.s1 <= n.n AND n.n <= r.s2)
    AND NOT EXISTS (SELECT 1 FROM f WHERE f.effect = 'fits' AND f.scope = g.scope AND f."of" = g."of" AND f.role = g.role AND f.pos = g.pos
      AND f.s1 = -9e15 AND f.s2 = 9e15 AND f.b1 = -9e15 AND f.b2 = 9e15
      AND NOT EXISTS (SELECT 1 FROM fit_asks a WHERE a.f = f.f AND instr(';' || g.asks || ';', ';' || a.mark || '=' || a.value || ';') = 0))),
-- A gap counts if any number of it lies in the variant's own range.
runs AS (SELECT *, n - row_number() OVER (PARTITION BY scope, "of", role, pos, asks ORDER BY n) AS run FROM open)
SELECT 'gap|' || o.scope || '/' || o."of" || '|' || o.role || '|' || o.pos || '|' || o.asks || '|' || o.n FROM runs o
WHERE o.scope <> 'variant' OR EXISTS (SELECT 1 FROM runs p JOIN unit u ON u.v = o."of"
  WHERE p.scope = o.scope AND p."of" = o."of" AND p.role = o.role AND p.pos = o.pos AND p.asks = o.asks AND p.run = o.run AND u.s1 <= p.n AND p.n <= u.s2);

SELECT 'never-applies|doubtful|' || f.name FROM f JOIN unit u ON u.v = f."of" AND f.scope = 'variant'
WHERE u.s1 > f.s2 OR f.s1 > u.s2 OR u.b1 > f.b2 OR f.b1 > u.b2
  OR EXISTS (SELECT 1 FROM fit_asks a WHERE a.f = f.f AND EXISTS (SELECT 1 FROM us WHERE us.u = u.u AND us.mark = a.mark)
    AND NOT EXISTS (SELECT 1 FROM us WHERE us.u = u.u AND us.mark = a.mark AND us.value = a.value));

SELECT DISTINCT 'role-ruled-out|doubtful|' || u.v || '|' || s.role || '|' || s.pos
FROM unit u JOIN ap a ON a.u = u.u JOIN f s ON s.f = a.f AND s.effect = 'fits'
WHERE u.v <> '' AND s.s1 <= u.s2 AND u.s1 <= s.s2 AND s.b1 <= u.b2 AND u.b1 <= s.b2
  AND EXISTS (SELECT 1 FROM f o WHERE o.scope = 'variant' AND o."of" = u.v AND o.role = s.role)
  AND EXISTS (SELECT 1 FROM ap b JOIN f o ON o.f = b.f WHERE b.u = u.u AND o.role = s.role AND o.effect = 'does-not-fit' AND o.part <> '')
  AND NOT EXISTS (SELECT 1 FROM ap b JOIN f o ON o.f = b.f WHERE b.u = u.u AND o.role = s.role AND o.effect = 'does-not-fit' AND o.part = '')
  AND NOT EXISTS (SELECT 1 FROM ap b JOIN f o ON o.f = b.f AND o.effect = 'fits' WHERE b.u = u.u AND o.role = s.role AND o.pos = s.pos
    AND o.s1 <= u.s2 AND u.s1 <= o.s2 AND o.b1 <= u.b2 AND u.b1 <= o.b2 AND NOT EXISTS (SELECT 1 FROM ruled r WHERE r.u = u.u AND r.f = o.f));

-- Roles of scopes of work without a statement, and kits that hold them.
CREATE TEMP TABLE fill AS
SELECT v.variant AS v, fl.role, fl.spec FROM variants v JOIN fills fl ON fl.scope = 'variant' AND fl."of" = v.variant
UNION ALL
SELECT v.variant, fl.role, fl.spec FROM variants v JOIN fills fl ON fl.scope = 'family' AND fl."of" = v.family
WHERE NOT EXISTS (SELECT 1 FROM fills o WHERE o.scope = 'variant' AND o."of" = v.variant AND o.role = fl.role);
CREATE TEMP TABLE covered AS
SELECT DISTINCT u.v, f.role FROM unit u JOIN ap ON ap.u = u.u JOIN f ON f.f = ap.f WHERE u.v <> '' AND (f.effect = 'fits' OR f.part = '')
UNION SELECT v, role FROM fill;
CREATE TEMP TABLE inkit AS
WITH RECURSIVE k(kit, part) AS (SELECT kit, part FROM contents UNION SELECT k.kit, c.part FROM k JOIN contents c ON c.kit = k.part)
SELECT * FROM k;
CREATE TEMP TABLE holds AS SELECT DISTINCT k.kit, f.role FROM inkit k JOIN f ON f.part = k.part AND f.effect = 'fits';
CREATE TEMP TABLE famkit AS -- kits and sets stated for a family or a variant of it
SELECT DISTINCT coalesce(v.family, f."of") AS fam, f.role, f.part AS kit, p.kind FROM f JOIN parts p ON p.part = f.part AND p.kind IN ('kit', 'set')
LEFT JOIN variants v ON f.scope = 'variant' AND v.variant = f."of" WHERE f.effect = 'fits' AND f.scope <> 'mark';
CREATE TEMP TABLE lacking AS
SELECT v.family AS fam, r.role, count(*) AS n, (SELECT count(*) FROM variants o WHERE o.family = v.family) AS of
FROM variants v JOIN roles r WHERE r.role IN (SELECT role FROM work_roles)
  AND NOT EXISTS (SELECT 1 FROM covered c WHERE c.v = v.variant AND c.role = r.role) GROUP BY 1, 2;
SELECT 'role-unstated|' || iif(l.n < l.of AND l.role IN (SELECT role FROM work_roles WHERE need = 'required'), 'doubtful', 'thin') || '|' || l.fam || '|' || l.role || '|' || l.n || '|' || l.of
FROM lacking l
WHERE NOT EXISTS (SELECT 1 FROM famkit k JOIN holds h ON h.kit = k.kit AND h.role = l.role WHERE k.fam = l.fam AND k.role <> l.role
  AND EXISTS (SELECT 1 FROM work_roles a JOIN work_roles b ON b.work = a.work WHERE a.role = k.role AND b.role = l.role));

CREATE TEMP TABLE kitof AS SELECT * FROM famkit WHERE kind = 'kit' AND fam IN (SELECT family FROM variants);
SELECT DISTINCT 'kit-without-contents|thin|' || kit FROM kitof WHERE kit NOT IN (SELECT kit FROM contents);
SELECT 'kit-lacks-sister|doubtful|' || k.fam || '|' || k.role || '|' || k.kit || '|' || r.role
FROM kitof k JOIN roles r ON r.one_time = 'yes' AND r.role <> k.role
WHERE k.kit IN (SELECT kit FROM contents)
  AND NOT EXISTS (SELECT 1 FROM holds h WHERE h.kit = k.kit AND h.role = r.role)
  AND EXISTS (SELECT 1 FROM kitof s WHERE s.fam = k.fam AND s.role = k.role AND s.kit <> k.kit AND s.kit IN (SELECT kit FROM contents))
  AND NOT EXISTS (SELECT 1 FROM kitof s WHERE s.fam = k.fam AND s.role = k.role AND s.kit <> k.kit AND s.kit IN (SELECT kit FROM contents)
    AND NOT EXISTS (SELECT 1 FROM holds h WHERE h.kit = s.kit AND h.role = r.role));
SELECT 'kit-lacks-scope|wrong|' || k.fam || '|' || k.role || '|' || k.kit || '|' || r.role
FROM kitof k JOIN roles kr ON kr.role = k.role JOIN roles r ON r.one_time = 'yes' AND r.role <> k.role AND r.assembly = kr.assembly
WHERE k.kit IN (SELECT kit FROM contents)
  AND NOT EXISTS (SELECT 1 FROM holds h WHERE h.kit = k.kit AND h.role = r.role)
  AND EXISTS (SELECT 1 FROM work_roles a JOIN work_roles b ON b.work = a.work AND b.need = 'required' WHERE a.role = k.role AND b.role = r.role)
  AND NOT EXISTS (SELECT 1 FROM covered c JOIN variants v ON v.variant = c.v WHERE v.family = k.fam AND c.role = r.role);

CREATE TEMP TABLE figure AS
SELECT DISTINCT t, fam FROM (
  SELECT 'sites' AS t, scope, "of" FROM sites UNION ALL SELECT 'torques', scope, "of" FROM torques UNION ALL SELECT 'fills', scope, "of" FROM fills
  UNION ALL SELECT 'seals', scope, "of" FROM seals UNION ALL SELECT 'rings', scope, "of" FROM rings UNION ALL SELECT 'ports', scope, "of" FROM ports) x
JOIN (SELECT family AS fam, variant FROM variants UNION ALL SELECT DISTINCT family, '' FROM variants) y
  ON x.scope = 'family' AND x."of" = y.fam OR x.scope = 'variant' AND x."of" = y.variant;
WITH alive AS (SELECT * FROM families WHERE family IN (SELECT family FROM variants)),
tables(t) AS (VALUES ('sites'), ('torques'), ('fills'), ('seals'), ('rings'), ('ports'))
SELECT 'figures-missing|thin|' || fam || '|' || t || '|' || have || '|' || others FROM (
  SELECT a.family AS fam, t.t, (SELECT count(*) FROM alive o WHERE o.maker = a.maker AND o.family <> a.family) AS others,
    (SELECT count(*) FROM alive o JOIN figure g ON g.fam = o.family AND g.t = t.t WHERE o.maker = a.maker AND o.family <> a.family) AS have
  FROM alive a JOIN tables t WHERE NOT EXISTS (SELECT 1 FROM figure g WHERE g.fam = a.family AND g.t = t.t))
WHERE have > 0 AND 2 * have >= others;

-- What two variants take in a role, as one text.
CREATE TEMP TABLE lead AS
SELECT DISTINCT ap.u, f.role, f.part AS start, f.part FROM ap JOIN f ON f.f = ap.f AND f.effect = 'fits' WHERE NOT EXISTS (SELECT 1 FROM ruled r WHERE r.u = ap.u AND r.f = ap.f);
INSERT INTO lead SELECT DISTINCT l.u, l.role, l.start, x.b FROM lead l JOIN leads x ON x.a = l.part;
CREATE TEMP TABLE said AS
SELECT DISTINCT u.v, f.role, f.effect || ' ' || f.part || ' ' || f.pos || ' ' || coalesce(f.qty, 0) || ' ' || f.s1 || ' ' || f.s2 || ' ' || f.b1 || ' ' || f.b2 || ' ' || f.asks AS what
FROM unit u JOIN ap ON ap.u = u.u JOIN f ON f.f = ap.f
WHERE u.v <> '' AND CASE WHEN f.effect = 'fits' THEN NOT EXISTS (SELECT 1 FROM ruled r WHERE r.u = u.u AND r.f = f.f)
  ELSE f.part = '' OR EXISTS (SELECT 1 FROM lead l WHERE l.u = u.u AND l.role = f.role AND l.part = f.part) END
UNION SELECT v, role, 'fill ' || spec FROM fill;
CREATE TEMP TABLE takes AS
SELECT v.variant AS v, r.role, r.assembly, coalesce((SELECT group_concat(what, ' & ') FROM (SELECT what FROM said s WHERE s.v = v.variant AND s.role = r.role ORDER BY what)), '') AS what
FROM variants v JOIN roles r;
CREATE INDEX temp.takes_i ON takes(v, role);
CREATE TEMP TABLE differ AS
SELECT a.v AS a, b.v AS b, a.role, a.assembly FROM takes a JOIN takes b ON b.role = a.role AND b.v <> a.v AND b.what <> a.what;
CREATE INDEX temp.differ_i ON differ(a, b);

-- Deciding marks that tell two variants apart.
CREATE TEMP TABLE apart AS
SELECT v.variant AS a, w.variant AS b, m.mark, m.assembly FROM variants v JOIN variants w ON w.variant <> v.variant JOIN marks m ON m.force = 'deciding'
WHERE EXISTS (SELECT 1 FROM sv WHERE sv.v = v.variant AND sv.mark = m.mark) AND EXISTS (SELECT 1 FROM sv WHERE sv.v = w.variant AND sv.mark = m.mark)
  AND NOT EXISTS (SELECT 1 FROM sv x JOIN sv y ON y.v = w.variant AND y.mark = m.mark WHERE x.v = v.variant AND x.mark = m.mark
    AND iif(m.kind = 'measured' AND m.wears = 'shorter',
      -- L4: bands from 0.85 of the nominal, or the lower end of C2, to its upper end.
      min(round(CAST(x.value AS REAL) * 0.85e6), round((CAST(x.value AS REAL) - coalesce(x.tolerance, 0) - coalesce(m.tolerance, 0)) * 1e6)) <= round((CAST(y.value AS REAL) + coalesce(y.tolerance, 0) + coalesce(m.tolerance, 0)) * 1e6)
      AND min(round(CAST(y.value AS REAL) * 0.85e6), round((CAST(y.value AS REAL) - coalesce(y.tolerance, 0) - coalesce(m.tolerance, 0)) * 1e6)) <= round((CAST(x.value AS REAL) + coalesce(x.tolerance, 0) + coalesce(m.tolerance, 0)) * 1e6),
      iif(m.kind = 'measured', abs(round((CAST(x.value AS REAL) - CAST(y.value AS REAL)) * 1e6)) <= round((coalesce(x.tolerance, 0) + coalesce(y.tolerance, 0) + 2 * coalesce(m.tolerance, 0)) * 1e6), x.value = y.value)));
CREATE INDEX temp.apart_i ON apart(a, b);

-- One text that means several variants.
CREATE TEMP TABLE means AS
SELECT DISTINCT layout, plate AS text, variant AS v FROM plates
UNION SELECT p.layout, p.plate, v.variant FROM plates p JOIN variants v ON v.variant = p.plate AND v.layout = p.layout;
CREATE TEMP TABLE together AS
SELECT m.layout, m.text, l.assembly, s.follows = '' AS first, m.v AS a, n.v AS b FROM means m JOIN means n ON n.layout = m.layout AND n.text = m.text AND n.v <> m.v
JOIN layouts l ON l.layout = m.layout JOIN assemblies s ON s.assembly = l.assembly
JOIN unit u ON u.v = m.v JOIN unit w ON w.v = n.v
WHERE NOT (EXISTS (SELECT 1 FROM fields WHERE layout = m.layout AND means = 'serial' AND optional = '') AND (u.s1 > w.s2 OR w.s1 > u.s2))
  AND NOT (EXISTS (SELECT 1 FROM fields WHERE layout = m.layout AND means = 'built' AND optional = '') AND (u.b1 > w.b2 OR w.b1 > u.b2));
WITH x AS (
  SELECT t.*, EXISTS (SELECT 1 FROM differ d WHERE d.a = t.a AND d.b = t.b AND (t.first OR d.assembly = t.assembly)) AS differs,
    EXISTS (SELECT 1 FROM apart p WHERE p.a = t.a AND p.b = t.b AND (t.first OR p.assembly = t.assembly)) AS told FROM together t)
SELECT 'same-reading|' || CASE WHEN max(differs AND NOT told) THEN 'wrong' WHEN max(differs) THEN 'doubtful' ELSE 'thin' END || '|' || layout || '|' || text || '|' || count(DISTINCT a)
FROM x GROUP BY layout, text HAVING first OR max(differs);

-- Codes one slip apart: (place, what stands there in one and in the other).
CREATE TEMP TABLE near AS
WITH RECURSIVE p(p) AS (SELECT 1 UNION ALL SELECT p + 1 FROM p WHERE p < 64)
SELECT DISTINCT v.variant AS a, w.variant AS b, v.layout, 'same length' AS how FROM variants v JOIN variants w ON w.layout = v.layout AND w.variant > v.variant AND length(w.variant) = length(v.variant) JOIN p
WHERE substr(v.variant, 1, p - 1) = substr(w.variant, 1, p - 1)
  AND (substr(v.variant, p + 1) = substr(w.variant, p + 1) AND EXISTS (SELECT 1 FROM confusable c WHERE c.a = substr(v.variant, p, 1) AND c.b = substr(w.variant, p, 1))
    OR substr(v.variant, p, 1) <> substr(w.variant, p, 1) AND substr(v.variant, p, 1) = substr(w.variant, p + 1, 1) AND substr(v.variant, p + 1, 1) = substr(w.variant, p, 1)
      AND substr(v.variant, p + 2) = substr(w.variant, p + 2))
UNION
SELECT min(v.variant, w.variant), max(v.variant, w.variant), v.layout, 'dropped' FROM variants v JOIN variants w ON w.layout = v.layout AND length(w.variant) = length(v.variant) - 1 JOIN p
WHERE p <= length(v.variant) AND substr(v.variant, 1, p - 1) || substr(v.variant, p + 1) = w.variant;
SELECT 'look-alike|' || iif(EXISTS (SELECT 1 FROM fields c WHERE c.layout = n.layout AND c.means = 'check'
    AND (c.over = '' OR NOT EXISTS (SELECT 1 FROM fields g WHERE g.layout = n.layout AND g.means = 'variant' AND instr(' ' || c.over || ' ', ' ' || g.field || ' ') = 0))), 'thin', 'wrong')
  || '|' || n.a || '|' || n.b
FROM near n WHERE EXISTS (SELECT 1 FROM differ d WHERE d.a = n.a AND d.b = n.b) AND NOT EXISTS (SELECT 1 FROM apart x WHERE x.a = n.a AND x.b = n.b);

-- Variants that only the plate tells apart: tied pairs, and what hangs together.
CREATE TEMP TABLE tie AS
SELECT DISTINCT v.family AS fam, v.variant AS a, w.variant AS b FROM variants v JOIN variants w ON w.family = v.family AND w.variant <> v.variant
WHERE EXISTS (SELECT 1 FROM differ d WHERE d.a = v.variant AND d.b = w.variant) AND NOT EXISTS (SELECT 1 FROM apart x WHERE x.a = v.variant AND x.b = w.variant);
CREATE TEMP TABLE hang AS
WITH RECURSIVE h(a, b) AS (SELECT a, b FROM tie UNION SELECT h.a, t.b FROM h JOIN tie t ON t.a = h.b) SELECT * FROM h;
SELECT 'nothing-to-look-at|thin|' || group_concat(b, ' ') FROM (
  SELECT (SELECT min(b) FROM hang g WHERE g.a = h.a) AS first, b FROM hang h WHERE h.a = (SELECT min(b) FROM hang g WHERE g.a = h.a) ORDER BY 1, b) GROUP BY first;

-- Numbers.
CREATE TEMP TABLE buyable AS SELECT part FROM parts WHERE status = 'sold';
-- :repeat 20
INSERT INTO buyable
SELECT DISTINCT part FROM parts p WHERE part NOT IN (SELECT part FROM buyable) AND (
  EXISTS (SELECT 1 FROM supersessions s JOIN buyable b ON b.part = s.new WHERE s.old = p.part AND s.kind <> 'split')
  OR EXISTS (SELECT 1 FROM supersessions s JOIN buyable b ON b.part = s.old WHERE s.new = p.part AND s.kind = 'two-way')
  OR EXISTS (SELECT 1 FROM supersessions s WHERE s.old = p.part AND s.kind = 'split')
    AND NOT EXISTS (SELECT 1 FROM supersessions s WHERE s.old = p.part AND s.kind = 'split' AND s.new NOT IN (SELECT part FROM buyable)));
-- :end
CREATE TEMP TABLE asked AS
SELECT part FROM f WHERE effect = 'fits' UNION SELECT companion FROM companions UNION SELECT part FROM consumables;
SELECT 'ended-without-successor|' || iif(part IN (SELECT part FROM asked), 'doubtful', 'thin') || '|' || part FROM parts
WHERE status = 'ended' AND part NOT IN (SELECT old FROM step);
SELECT 'ended-chain|doubtful|' || part FROM parts WHERE status = 'ended' AND part IN (SELECT old FROM step) AND part NOT IN (SELECT part FROM buyable);
CREATE TEMP TABLE grp AS
WITH RECURSIVE g(a, b) AS (
  SELECT old, new FROM supersessions WHERE kind = 'two-way' UNION SELECT new, old FROM supersessions WHERE kind = 'two-way'
  UNION SELECT g.a, iif(s.old = g.b, s.new, s.old) FROM g JOIN supersessions s ON s.kind = 'two-way' AND g.b IN (s.old, s.new))
SELECT a, b FROM g UNION SELECT a, a FROM g;
CREATE TEMP TABLE out AS
SELECT s.old, s.new FROM supersessions s WHERE s.kind <> 'two-way' AND NOT EXISTS (SELECT 1 FROM grp WHERE a = s.old AND b = s.new);
CREATE TEMP TABLE meets2 AS SELECT a, b FROM leads UNION SELECT part, part FROM parts;
WITH g AS (SELECT DISTINCT a, (SELECT min(b) FROM grp h WHERE h.a = g.a) AS first FROM grp g),
rival AS (SELECT x.first FROM g x JOIN g y ON y.first = x.first AND y.a <> x.a
  WHERE x.a IN (SELECT old FROM out) AND y.a IN (SELECT old FROM out)
    AND NOT EXISTS (SELECT 1 FROM out o JOIN out q JOIN meets2 m ON m.a = o.new AND m.b = q.new OR m.a = q.new AND m.b = o.new WHERE o.old = x.a AND q.old = y.a))
SELECT 'two-way-successors|' || iif(first IN (SELECT first FROM rival), 'doubtful', 'thin') || '|' || group_concat(a, ' ') FROM (SELECT * FROM g ORDER BY first, a) z
GROUP BY first HAVING first IN (SELECT first FROM rival)
  OR max(a IN (SELECT old FROM out)) AND max(a NOT IN (SELECT old FROM out) AND a IN (SELECT part FROM parts WHERE status = 'sold'));
SELECT 'part-unnamed|thin|' || part FROM parts
EXCEPT SELECT 'part-unnamed|thin|' || x FROM (SELECT part AS x FROM fits UNION SELECT part FROM contents UNION SELECT companion FROM companions UNION SELECT part FROM consumables
  UNION SELECT fluid FROM meets UNION SELECT new FROM supersessions UNION SELECT old FROM supersessions WHERE kind = 'two-way');

-- Marks, offers, fluids, leftovers.
SELECT 'mark-unshown|thin|' || mark FROM marks WHERE mark NOT IN (SELECT mark FROM shows);
SELECT DISTINCT 'value-unshown|doubtful|' || mark || '|' || value FROM fit_asks a WHERE NOT EXISTS (SELECT 1 FROM shows s WHERE s.mark = a.mark AND s.value = a.value);
SELECT 'offer-of-unknown-part|wrong|' || supplier || '|' || stock FROM offers WHERE part NOT IN (SELECT part FROM parts);
SELECT 'offer-of-ended-part|doubtful|' || supplier || '|' || stock FROM offers o JOIN parts p ON p.part = o.part WHERE p.status = 'ended';
SELECT 'offer-twice|doubtful|' || supplier || '|' || part || '|' || group_concat(stock, ' ') FROM (SELECT * FROM offers ORDER BY stock) x
GROUP BY supplier, part, pack, litres HAVING count(DISTINCT price) > 1;
SELECT 'fluid-meets-nothing|doubtful|' || part FROM parts WHERE kind = 'fluid' AND part NOT IN (SELECT fluid FROM meets) AND part NOT IN (SELECT part FROM consumables);
WITH p(supplier, stock, n, price) AS (SELECT supplier, stock, 1, price FROM offers UNION ALL SELECT supplier, stock, "from", price FROM breaks)
SELECT 'break-dearer|doubtful|' || b.supplier || '|' || b.stock || '|' || b."from" FROM breaks b JOIN p ON p.supplier = b.supplier AND p.stock = b.stock AND p.n < b."from"
WHERE EXISTS (SELECT 1 FROM offers o WHERE o.supplier = b.supplier AND o.stock = b.stock)
  AND p.n = (SELECT max(n) FROM p q WHERE q.supplier = b.supplier AND q.stock = b.stock AND q.n < b."from") AND b.price >= p.price;
SELECT 'break-without-offer|wrong|' || supplier || '|' || stock || '|' || "from" FROM breaks b WHERE NOT EXISTS (SELECT 1 FROM offers o WHERE o.supplier = b.supplier AND o.stock = b.stock);
SELECT 'sheet-off-limits|wrong|' || m.spec || '|' || m.fluid || '|' || s.property FROM meets m JOIN sheets s ON s.fluid = m.fluid JOIN limits l ON l.spec = m.spec AND l.property = s.property
WHERE s.value < l.least OR s.value > l.most;
SELECT 'fault-without-site|doubtful|' || family || '|' || code || '|' || site FROM faults x WHERE NOT EXISTS (SELECT 1 FROM sites s WHERE s.site = x.site
  AND (s.scope = 'family' AND s."of" = x.family OR s.scope = 'variant' AND s."of" IN (SELECT variant FROM variants v WHERE v.family = x.family)));
CREATE TEMP TABLE had AS SELECT DISTINCT m.spec FROM meets m JOIN parts p ON p.part = m.fluid AND p.status = 'sold';
SELECT 'serves-without-fluid|doubtful|' || spec || '|' || served_by FROM serves WHERE served_by NOT IN (SELECT spec FROM had);
SELECT DISTINCT 'fill-without-fluid|wrong|' || spec FROM fills fl WHERE spec NOT IN (SELECT spec FROM had)
  AND NOT EXISTS (SELECT 1 FROM serves s JOIN had h ON h.spec = s.served_by WHERE s.spec = fl.spec);
SELECT 'layout-of-other-maker|doubtful|' || v.variant FROM variants v JOIN layouts l ON l.layout = v.layout JOIN families m ON m.family = v.family WHERE l.maker <> m.maker;
SELECT 'caution-unused|thin|' || caution FROM cautions
EXCEPT SELECT 'caution-unused|thin|' || c FROM (SELECT caution AS c FROM caution_links UNION SELECT caution FROM marks UNION SELECT caution FROM fills);
SELECT 'source-unused|thin|' || source FROM sources EXCEPT SELECT 'source-unused|thin|' || source FROM cites;
