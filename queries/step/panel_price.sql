-- panel_price: elementary price of each item and grade in a region and month, as found.
-- grain:  region, item, grade, month             (checked: unique, not null)
-- inputs: panel_pack                             (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: ln_price  1e-12  mean over outlets of the outlet's mean over varieties and packs
-- method: ILO et al., Consumer Price Index Manual 2020, 8.19 (Jevons); logs in fixed point
WITH outlet_month AS (
    SELECT region, item, grade, outlet, month, CAST(round(avg(ln_price)) AS BIGINT) AS ln_price,
        sum(n_notes) AS n_notes, min(oldest_day) AS oldest_day, max(newest_day) AS newest_day
    FROM panel_pack
    GROUP BY region, item, grade, outlet, month
)
SELECT region, item, grade, month, CAST(round(avg(ln_price)) AS BIGINT) AS ln_price,
    CAST(sum(n_notes) AS INTEGER) AS n_notes, CAST(count(*) AS INTEGER) AS n_outlets,
    min(oldest_day) AS oldest_day, max(newest_day) AS newest_day
FROM outlet_month
GROUP BY region, item, grade, month
ORDER BY region, item, grade, month
