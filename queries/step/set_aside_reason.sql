-- set_aside_reason: why rows of each file were set aside, and the first of them.
-- grain:  sha256, code, field, cure              (checked: unique, not null)
-- inputs: set_aside_list                         (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: first_line  of the file, from 1
-- method: arithmetic only
SELECT sha256, name, code, field, cure, count(*) AS n_rows, count(*) FILTER (WHERE is_mended) AS n_mended, min(line) AS first_line,
    arg_min(text, (line, nth)) AS text
FROM set_aside_list
GROUP BY sha256, name, code, field, cure
ORDER BY sha256, code, field, cure
