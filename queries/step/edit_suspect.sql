-- edit_suspect: quotes whose unit price stands far from its own series, or, where that is short, from its peers.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: amount, obs_price                      (checked against the parsed SQL)
-- params: min_own, min_peer, own_ratio, peer_ratio, window_days, window_months (checked against the parsed SQL)
-- column: reason  own_series or peers
-- method: ratio to a median with a minimum n; the limits are the settings' [edit] (common practice)
WITH quote AS MATERIALIZED (
    SELECT p.file_id, p.line, p.day, p.month, p.outlet, p.item, p.variety, p.grade, a.pack, p.micro_price / a.quantity AS unit_price
    FROM obs_price p
    JOIN amount a ON a.amount_id = p.amount
    WHERE p.micro_price > 0 AND NOT p.is_average AND NOT p.is_wholesale
),
-- A series whose dearest is within the ratio of its cheapest holds no suspect of its own; a short one needs its peers,
-- where any of these stand that far apart.
wide AS (
    SELECT item, grade
    FROM quote
    GROUP BY item, grade
    HAVING max(unit_price) > $peer_ratio * min(unit_price)
),
spread AS (
    SELECT q.outlet, q.item, q.variety, q.grade, q.pack
    FROM quote q
    LEFT JOIN wide w ON w.item = q.item AND w.grade = q.grade
    GROUP BY q.outlet, q.item, q.variety, q.grade, q.pack
    HAVING max(q.unit_price) > $own_ratio * min(q.unit_price) OR count(*) <= $min_own AND count(w.item) > 0
),
loose AS (
    SELECT q.file_id, q.line, q.day, q.month, q.outlet, q.item, q.variety, q.grade, q.pack, q.unit_price
    FROM quote q
    JOIN spread s ON s.outlet = q.outlet AND s.item = q.item AND s.variety = q.variety AND s.grade = q.grade AND s.pack = q.pack
),
-- A window keeps the others in order as it moves on: a join would sort them anew for each quote.
own AS (
    SELECT file_id, line, item, grade, month, unit_price, count(*) OVER near AS n, median(unit_price) OVER near AS centre
    FROM loose
    WINDOW near AS (
        PARTITION BY outlet, item, variety, grade, pack
        ORDER BY day
        RANGE BETWEEN to_days(CAST($window_days AS INTEGER)) PRECEDING AND to_days(CAST($window_days AS INTEGER)) FOLLOWING
        EXCLUDE CURRENT ROW
    )
),
short AS (
    SELECT DISTINCT item, grade, month FROM own WHERE n < $min_own
),
peer_month AS (
    SELECT item, grade, month, median(unit_price) AS centre, count(*) AS n
    FROM quote
    WHERE item IN (SELECT item FROM short)
    GROUP BY item, grade, month
),
peer AS (
    SELECT s.item, s.grade, s.month, median(m.centre) AS centre, sum(m.n) AS n
    FROM short s
    JOIN peer_month m ON m.item = s.item AND m.grade = s.grade AND abs(m.month - s.month) <= $window_months
    GROUP BY s.item, s.grade, s.month
),
judged AS (
    SELECT o.file_id, o.line,
        CASE
            WHEN o.n >= $min_own AND greatest(o.unit_price / o.centre, o.centre / o.unit_price) > $own_ratio THEN 'own_series'
            WHEN o.n < $min_own AND p.n > $min_peer AND greatest(o.unit_price / p.centre, p.centre / o.unit_price) > $peer_ratio THEN 'peers'
        END AS reason
    FROM own o
    LEFT JOIN peer p ON p.item = o.item AND p.grade = o.grade AND p.month = o.month
)
SELECT file_id, line, reason
FROM judged
WHERE reason IS NOT NULL
ORDER BY file_id, line
