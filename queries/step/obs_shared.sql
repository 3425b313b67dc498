-- obs_shared: keys that more than one row has.
-- grain:  key_hash                               (checked: unique, not null)
-- inputs: obs_price                              (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: key_hash of the observation's key
-- method: arithmetic only
SELECT key_hash
FROM obs_price
GROUP BY key_hash
HAVING count(*) > 1
ORDER BY key_hash
