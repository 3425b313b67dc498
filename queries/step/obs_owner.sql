-- obs_owner: of each repeated observation the row of the source declared first, then of the file whose hash sorts first.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: file, obs_duplicate, obs_price         (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: owner_file  file_id of the row that stands for the observation in what is published, whatever came first
-- method: arithmetic only
WITH place AS (
    SELECT of_file, of_line, file_id, line, amount FROM obs_duplicate
    UNION ALL
    SELECT p.file_id, p.line, p.file_id, p.line, p.amount
    FROM obs_price p
    JOIN (SELECT DISTINCT of_file, of_line FROM obs_duplicate) d ON d.of_file = p.file_id AND d.of_line = p.line
),
ranked AS (
    SELECT s.of_file, s.of_line, s.file_id, s.line, s.amount,
        row_number() OVER (PARTITION BY s.of_file, s.of_line ORDER BY f.source_rank, f.sha256, s.line) AS place
    FROM place s
    JOIN file f ON f.file_id = s.file_id
)
SELECT of_file AS file_id, of_line AS line, file_id AS owner_file, line AS owner_line, amount AS owner_amount
FROM ranked
WHERE place = 1
ORDER BY file_id, line
