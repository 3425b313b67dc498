-- panel_price: elementary price of each item and grade in a region and month, as found.
-- grain:  region, item, grade, month             (checked: unique, not null)
-- inputs: panel_outlet                           (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: ln_price  1e-12  mean over outlets
-- method: ILO et al., Consumer Price Index Manual 2020, 8.19 (Jevons); logs in fixed point
SELECT region, item, grade, month,
    CAST(round(CAST(sum(ln_price) AS DOUBLE) / count(*)) AS BIGINT) AS ln_price,
    CAST(sum(n_notes) AS INTEGER) AS n_notes, CAST(count(*) AS INTEGER) AS n_outlets,
    min(oldest_day) AS oldest_day, max(newest_day) AS newest_day
FROM panel_outlet
GROUP BY region, item, grade, month
ORDER BY region, item, grade, month
