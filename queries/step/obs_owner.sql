-- obs_owner: of each repeated observation the row of the source declared first, then of the file whose hash sorts first.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: amount, file, obs_duplicate, obs_price (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: owner_file  file_id of the row that stands for the observation in what is published, whatever came first
-- method: arithmetic only
WITH repeated AS (
    SELECT DISTINCT key_hash, micro_price FROM obs_duplicate
),
place AS (
    SELECT d.key_hash, d.micro_price, a.quantity, d.amount, d.file_id, d.line
    FROM obs_duplicate d
    JOIN amount a ON a.amount_id = d.amount
    UNION ALL
    SELECT p.key_hash, p.micro_price, a.quantity, p.amount, p.file_id, p.line
    FROM obs_price p
    JOIN repeated r ON r.key_hash = p.key_hash AND r.micro_price IS NOT DISTINCT FROM p.micro_price
    JOIN amount a ON a.amount_id = p.amount
),
ranked AS (
    SELECT s.key_hash, s.micro_price, s.quantity, s.amount, s.file_id, s.line,
        row_number() OVER (PARTITION BY s.key_hash, s.micro_price, s.quantity ORDER BY f.source_rank, f.sha256, s.line) AS place
    FROM place s
    JOIN file f ON f.file_id = s.file_id
)
SELECT p.file_id, p.line, o.file_id AS owner_file, o.line AS owner_line, o.amount AS owner_amount
FROM obs_price p
JOIN amount a ON a.amount_id = p.amount
JOIN ranked o ON o.place = 1 AND o.key_hash = p.key_hash AND o.micro_price IS NOT DISTINCT FROM p.micro_price
    AND o.quantity IS NOT DISTINCT FROM a.quantity
ORDER BY p.file_id, p.line
