-- file_count: what became of the rows of each file, whatever order the files came in.
-- grain:  sha256                                 (checked: unique, not null)
-- inputs: edit_hold, file, obs_duplicate, obs_owner, obs_price (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: n_owned  rows that stand for an observation in what is published
-- method: arithmetic only
WITH owned AS (
    SELECT coalesce(o.owner_file, p.file_id) AS file_id, count(*) AS n, count(h.line) AS n_held
    FROM obs_price p
    LEFT JOIN obs_owner o ON o.file_id = p.file_id AND o.line = p.line
    LEFT JOIN edit_hold h ON h.file_id = p.file_id AND h.line = p.line
    GROUP BY 1
),
present AS (
    SELECT file_id, count(*) AS n FROM (
        SELECT file_id FROM obs_price
        UNION ALL
        SELECT file_id FROM obs_duplicate
    ) GROUP BY file_id
)
SELECT f.sha256, f.name, f.source, f.gives, f.n_read, f.n_quarantined,
    coalesce(w.n, 0) AS n_owned, coalesce(p.n, 0) - coalesce(w.n, 0) AS n_repeated, coalesce(w.n_held, 0) AS n_held
FROM file f
LEFT JOIN owned w ON w.file_id = f.file_id
LEFT JOIN present p ON p.file_id = f.file_id
ORDER BY f.sha256
