-- key_repeated: observations kept twice with one key and one price.
-- grain:  key_hash, micro_price                  (checked: unique, not null)
-- inputs: obs_price                              (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: n  rows
-- method: arithmetic only
SELECT key_hash, micro_price, count(*) AS n
FROM obs_price
GROUP BY key_hash, micro_price
HAVING count(*) > 1
ORDER BY key_hash, micro_price
