-- edit_conflict: observations with one key and several prices or amounts, all of them: none is chosen.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: obs_price, obs_shared                  (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: reason  always two_prices
-- method: arithmetic only
WITH counted AS (
    SELECT p.file_id, p.line, count(*) OVER (PARTITION BY p.key_hash) AS n
    FROM obs_price p
    JOIN obs_shared s ON s.key_hash = p.key_hash
)
SELECT file_id, line, 'two_prices' AS reason
FROM counted
WHERE n > 1
ORDER BY file_id, line
