-- obs_owner: of each repeated observation the row whose file sorts first by its hash, whatever came first.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: file, obs_duplicate, obs_price         (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: owner_file  file_id of the row that stands for the observation in what is published
-- method: arithmetic only
WITH repeated AS (
    SELECT DISTINCT key_hash, micro_price FROM obs_duplicate
),
place AS (
    SELECT d.key_hash, d.micro_price, d.file_id, d.line FROM obs_duplicate d
    UNION ALL
    SELECT p.key_hash, p.micro_price, p.file_id, p.line
    FROM obs_price p
    JOIN repeated r ON r.key_hash = p.key_hash AND r.micro_price IS NOT DISTINCT FROM p.micro_price
),
owner AS (
    SELECT s.key_hash, s.micro_price, min_by(s.file_id, (f.sha256, s.line)) AS owner_file, min_by(s.line, (f.sha256, s.line)) AS owner_line
    FROM place s
    JOIN file f ON f.file_id = s.file_id
    GROUP BY s.key_hash, s.micro_price
)
SELECT p.file_id, p.line, o.owner_file, o.owner_line
FROM obs_price p
JOIN owner o ON o.key_hash = p.key_hash AND o.micro_price IS NOT DISTINCT FROM p.micro_price
ORDER BY p.file_id, p.line
