-- panel_change: log changes of the varieties priced at an outlet in a month, each since the month in which it was last priced.
-- grain:  region, item, grade, month, n_months   (checked: unique, not null)
-- inputs: panel_pack                             (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: n_months  how many months before month the varieties of the row were last priced
-- column: ln_change 1e-12  sum over the n_matched varieties of the row
-- method: matched Jevons; ILO et al., Consumer Price Index Manual 2020, 8.19; logs in fixed point
WITH level AS (
    SELECT region, item, grade, outlet, variety, month, CAST(round(avg(ln_price)) AS BIGINT) AS ln_price
    FROM panel_pack
    GROUP BY region, item, grade, outlet, variety, month
),
-- A window over each series is cheaper than joining it with itself.
step AS (
    SELECT region, item, grade, month, ln_price - lag(ln_price) OVER series AS ln_change, month - lag(month) OVER series AS n_months
    FROM level
    WINDOW series AS (PARTITION BY region, item, grade, outlet, variety ORDER BY month)
)
SELECT region, item, grade, month, n_months, CAST(sum(ln_change) AS BIGINT) AS ln_change, CAST(count(*) AS INTEGER) AS n_matched
FROM step
WHERE n_months IS NOT NULL
GROUP BY region, item, grade, month, n_months
ORDER BY region, item, grade, month, n_months
