-- rows_lost: price files whose rows are not all accepted, set aside or repeats.
-- grain:  sha256                                 (checked: unique, not null)
-- inputs: file, obs_duplicate, obs_price, set_aside_row (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: n_found  rows of the file that are somewhere
-- method: arithmetic only
WITH found AS (
    SELECT file_id, count(*) AS n FROM (
        SELECT file_id FROM obs_price
        UNION ALL
        SELECT file_id FROM obs_duplicate
        UNION ALL
        SELECT file_id FROM set_aside_row
    ) GROUP BY file_id
)
SELECT f.sha256, f.name, f.n_read, coalesce(n.n, 0) AS n_found
FROM file f
LEFT JOIN found n ON n.file_id = f.file_id
WHERE f.gives IN ('notes', 'quotes', 'averages') AND f.n_read <> coalesce(n.n, 0)
ORDER BY f.sha256
