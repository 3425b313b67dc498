-- set_aside_list: every row set aside, and whether a row of a sheet that came back mends it.
-- grain:  sha256, line, nth                      (checked: unique, not null)
-- inputs: file, obs_mend, set_aside_row          (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: nth        among the values of one line
-- column: mends      of a row that was to mend another: that row's file and line
-- column: is_mended  the row itself, or the one that it was to mend
-- method: arithmetic only
WITH aside AS (
    SELECT r.file_id, f.sha256, f.name, substr(f.sha256, 1, 12) AS mark, r.line,
        row_number() OVER (PARTITION BY f.sha256, r.line ORDER BY r.code, r.field, r.text, r.cure) AS nth, r.code, r.field, r.text, r.cure
    FROM set_aside_row r
    JOIN file f ON f.file_id = r.file_id
),
place AS (
    SELECT DISTINCT mark, line FROM aside
),
-- A row that was to mend another and was set aside itself goes with that one.
attempt AS (
    SELECT m.file_id, m.line, p.mark, p.line AS mends_line
    FROM obs_mend m
    JOIN place p ON p.mark = m.mends_file AND p.line = m.mends_line
),
mended AS (
    SELECT DISTINCT mends_file, mends_line FROM obs_mend WHERE is_accepted
)
SELECT a.sha256, a.name, CAST(a.line AS BIGINT) AS line, a.nth, a.code, a.field, a.text, a.cure,
    coalesce(t.mark || ':' || t.mends_line, '') AS mends, d.mends_line IS NOT NULL AS is_mended
FROM aside a
LEFT JOIN attempt t ON t.file_id = a.file_id AND t.line = a.line
LEFT JOIN mended d ON d.mends_file = coalesce(t.mark, a.mark) AND d.mends_line = coalesce(t.mends_line, a.line)
ORDER BY a.sha256, a.line, a.nth
