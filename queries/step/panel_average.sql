-- panel_average: published averages, each the elementary price of its region and month.
-- grain:  region, item, grade, month, source     (checked: unique, not null)
-- inputs: amount, edit_correction, edit_hold, file, obs_owner, obs_price (checked against the parsed SQL)
-- params: default_grade                          (checked against the parsed SQL)
-- column: ln_price  1e-12  log unit price; of several series of one source their mean
-- method: ILO et al., Consumer Price Index Manual 2020, 8.19 (Jevons); logs in fixed point
WITH counted AS (
    SELECT p.region, p.item, CASE WHEN p.grade = 0 THEN CAST($default_grade AS INTEGER) ELSE p.grade END AS grade, p.month, f.source,
        CAST(round(ln(coalesce(c.micro_price, p.micro_price) / 1e6 / a.quantity) * 1e12) AS BIGINT) AS ln_price
    FROM obs_price p
    LEFT JOIN obs_owner o ON o.file_id = p.file_id AND o.line = p.line
    JOIN file f ON f.file_id = coalesce(o.owner_file, p.file_id)
    LEFT JOIN edit_hold h ON h.file_id = p.file_id AND h.line = p.line
    LEFT JOIN edit_correction c ON c.file_id = p.file_id AND c.line = p.line
    JOIN amount a ON a.amount_id = p.amount
    WHERE p.micro_price > 0 AND p.is_average AND NOT p.is_wholesale
        AND (h.line IS NULL OR c.action IS NOT NULL) AND coalesce(c.action, '') <> 'exclude'
)
SELECT region, item, grade, month, source,
    CAST(round(avg(ln_price)) AS BIGINT) AS ln_price
FROM counted
GROUP BY region, item, grade, month, source
ORDER BY region, item, grade, month, source
