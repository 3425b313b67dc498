-- set_aside_reason: why rows of each file were set aside, and the first of them.
-- grain:  sha256, code, field                    (checked: unique, not null)
-- inputs: file, set_aside_row                    (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: first_line  of the file, from 1
-- method: arithmetic only
SELECT f.sha256, f.name, r.code, r.field, count(*) AS n_rows, CAST(min(r.line) AS BIGINT) AS first_line,
    min_by(r.text, r.line) AS text, min_by(r.cure, r.line) AS cure
FROM set_aside_row r
JOIN file f ON f.file_id = r.file_id
GROUP BY f.sha256, f.name, r.code, r.field
ORDER BY f.sha256, r.code, r.field
