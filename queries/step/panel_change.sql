-- panel_change: mean log change of the varieties priced at one outlet in a month and the month before.
-- grain:  region, item, grade, month             (checked: unique, not null)
-- inputs: panel_series                           (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: ln_change  1e-12  of the month against the one before
-- method: matched Jevons; ILO et al., Consumer Price Index Manual 2020, 8.19; logs in fixed point
WITH level AS (
    SELECT region, item, grade, outlet, variety, month,
        CAST(round(CAST(sum_ln AS DOUBLE) / n_packs) AS BIGINT) AS ln_price
    FROM panel_series
)
SELECT t.region, t.item, t.grade, t.month,
    CAST(round(CAST(sum(t.ln_price - s.ln_price) AS DOUBLE) / count(*)) AS BIGINT) AS ln_change,
    CAST(count(*) AS INTEGER) AS n_matched
FROM level t
JOIN level s ON s.region = t.region AND s.item = t.item AND s.grade = t.grade
    AND s.outlet = t.outlet AND s.variety = t.variety AND s.month = t.month - 1
GROUP BY t.region, t.item, t.grade, t.month
ORDER BY t.region, t.item, t.grade, t.month
