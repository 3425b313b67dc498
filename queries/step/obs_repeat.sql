-- obs_repeat: rows that repeat an earlier one, key and price; the row that came first stays.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: obs_price, obs_shared                  (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: key_hash of the observation's key
-- method: arithmetic only
WITH numbered AS (
    SELECT p.file_id, p.line, p.key_hash, p.micro_price,
        row_number() OVER (PARTITION BY p.key_hash, p.micro_price ORDER BY p.file_id, p.line) AS place
    FROM obs_price p
    JOIN obs_shared s ON s.key_hash = p.key_hash
)
SELECT file_id, line, key_hash, micro_price
FROM numbered
WHERE place > 1
ORDER BY file_id, line
