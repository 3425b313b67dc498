-- obs_repeat: rows that repeat an earlier one, key and price; the row that came first stays.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: obs_price                              (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: key_hash of the observation's key
-- method: arithmetic only
WITH first_seen AS (
    SELECT key_hash, micro_price, min(CAST(file_id AS BIGINT) * 4294967296 + line) AS place
    FROM obs_price
    GROUP BY key_hash, micro_price
    HAVING count(*) > 1
)
SELECT p.file_id, p.line, p.key_hash, p.micro_price
FROM obs_price p
JOIN first_seen f ON f.key_hash = p.key_hash AND f.micro_price IS NOT DISTINCT FROM p.micro_price
WHERE CAST(p.file_id AS BIGINT) * 4294967296 + p.line > f.place
ORDER BY p.file_id, p.line
