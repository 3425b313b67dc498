-- edit_conflict: observations with one key and several prices, all of them: none is chosen.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: obs_price                              (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: reason  always two_prices
-- method: arithmetic only
WITH several AS (
    SELECT key_hash FROM obs_price GROUP BY key_hash HAVING count(*) > 1
)
SELECT p.file_id, p.line, 'two_prices' AS reason
FROM obs_price p
JOIN several s ON s.key_hash = p.key_hash
ORDER BY p.file_id, p.line
