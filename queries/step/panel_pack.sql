-- panel_pack: monthly mean log unit price of each pack of a variety at an outlet, over days, of the notes that count.
-- grain:  region, item, grade, outlet, variety, pack, month (checked: unique, not null)
-- inputs: amount, edit_correction, edit_hold, obs_price, word (checked against the parsed SQL)
-- params: default_grade, other_outlets, price_types (checked against the parsed SQL)
-- column: ln_price  1e-12
-- column: size      what one price buys, in the item's base unit; 1 of what was weighed, which has no pack
-- method: ILO et al., Consumer Price Index Manual 2020, 8.19 (Jevons); logs in fixed point: no sum depends on its order
WITH counted AS (
    SELECT p.region, p.item, CASE WHEN p.grade = 0 THEN CAST($default_grade AS INTEGER) ELSE p.grade END AS grade,
        p.outlet, p.variety, a.pack, a.quantity, a.is_measured, p.month, p.day,
        CAST(round(ln(coalesce(c.micro_price, p.micro_price) / 1e6 / a.quantity) * 1e12) AS BIGINT) AS ln_price
    FROM obs_price p
    LEFT JOIN edit_hold h ON h.file_id = p.file_id AND h.line = p.line
    LEFT JOIN edit_correction c ON c.file_id = p.file_id AND c.line = p.line
    JOIN amount a ON a.amount_id = p.amount
    JOIN word t ON t.word_id = p.price_type
    WHERE p.micro_price > 0 AND NOT p.is_average AND NOT p.is_wholesale
        AND list_contains(string_split($price_types, ','), t.word)
        AND p.outlet NOT IN (SELECT word_id FROM word WHERE list_contains(string_split($other_outlets, chr(31)), word))
        AND (h.line IS NULL OR c.action IS NOT NULL) AND coalesce(c.action, '') <> 'exclude'
)
SELECT region, item, grade, outlet, variety, pack, month, CASE WHEN bool_or(is_measured) THEN 1 ELSE max(quantity) END AS size,
    CAST(round(avg(ln_price)) AS BIGINT) AS ln_price,
    CAST(count(*) AS INTEGER) AS n_notes, min(day) AS oldest_day, max(day) AS newest_day
FROM counted
GROUP BY region, item, grade, outlet, variety, pack, month
