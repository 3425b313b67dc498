-- panel_held: prices that would count, but that an edit rule holds and nobody has released or excluded.
-- grain:  region, item, grade, month             (checked: unique, not null)
-- inputs: amount, edit_correction, edit_hold, obs_price, word (checked against the parsed SQL)
-- params: default_grade, other_outlets, price_types (checked against the parsed SQL)
-- column: low   the lowest unit price held, of a base unit
-- column: high  the highest
-- method: arithmetic only
WITH held AS (
    SELECT p.region, p.item, CASE WHEN p.grade = 0 THEN CAST($default_grade AS INTEGER) ELSE p.grade END AS grade, p.month,
        p.micro_price / 1e6 / a.quantity AS price
    FROM edit_hold h
    JOIN obs_price p ON p.file_id = h.file_id AND p.line = h.line
    LEFT JOIN edit_correction c ON c.file_id = p.file_id AND c.line = p.line
    JOIN amount a ON a.amount_id = p.amount
    JOIN word t ON t.word_id = p.price_type
    WHERE c.action IS NULL AND p.micro_price > 0 AND NOT p.is_wholesale
        AND (p.is_average OR list_contains(string_split($price_types, ','), t.word))
        AND (p.is_average OR p.outlet NOT IN (SELECT word_id FROM word WHERE list_contains(string_split($other_outlets, chr(31)), word)))
)
SELECT region, item, grade, month, CAST(count(*) AS INTEGER) AS n_held, min(price) AS low, max(price) AS high
FROM held
GROUP BY region, item, grade, month
ORDER BY region, item, grade, month
