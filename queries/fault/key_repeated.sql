-- key_repeated: observations kept twice with one key and one price.
-- grain:  key_hash, micro_price                  (checked: unique, not null)
-- inputs: amount, obs_price, obs_shared          (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: n  rows
-- method: arithmetic only
SELECT p.key_hash, coalesce(p.micro_price, -1) AS micro_price, count(*) AS n
FROM obs_price p
JOIN obs_shared s ON s.key_hash = p.key_hash
JOIN amount a ON a.amount_id = p.amount
GROUP BY p.key_hash, p.micro_price, a.quantity, p.is_average, p.is_wholesale, p.is_label_off
HAVING count(*) > 1
ORDER BY p.key_hash, p.micro_price
