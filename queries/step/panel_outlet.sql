-- panel_outlet: mean log unit price of an item and grade at each outlet in a month, over its varieties and packs.
-- grain:  region, item, grade, outlet, month     (checked: unique, not null)
-- inputs: panel_series                           (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: ln_price  1e-12
-- method: ILO et al., Consumer Price Index Manual 2020, 8.19 (Jevons); logs in fixed point
SELECT region, item, grade, outlet, month,
    CAST(round(CAST(sum(sum_ln) AS DOUBLE) / sum(n_packs)) AS BIGINT) AS ln_price,
    CAST(sum(n_notes) AS INTEGER) AS n_notes, min(oldest_day) AS oldest_day, max(newest_day) AS newest_day
FROM panel_series
GROUP BY region, item, grade, outlet, month
ORDER BY region, item, grade, outlet, month
