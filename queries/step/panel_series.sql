-- panel_series: monthly log unit price of each variety at an outlet, summed over its packs.
-- grain:  region, item, grade, outlet, variety, month (checked: unique, not null)
-- inputs: panel_pack                             (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: sum_ln  1e-12   sum over packs of the mean log unit price, a whole number
-- column: n_packs         packs in that sum
-- method: ILO et al., Consumer Price Index Manual 2020, 8.19 (Jevons); logs in fixed point
SELECT region, item, grade, outlet, variety, month,
    CAST(sum(ln_price) AS BIGINT) AS sum_ln, CAST(count(*) AS INTEGER) AS n_packs,
    CAST(sum(n_notes) AS INTEGER) AS n_notes, min(oldest_day) AS oldest_day, max(newest_day) AS newest_day
FROM panel_pack
GROUP BY region, item, grade, outlet, variety, month
