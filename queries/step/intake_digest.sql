-- intake_digest: one figure for all that intake gave, whatever order the files came in.
-- grain:  n_obs                                  (checked: unique, not null)
-- inputs: amount, edit_hold, file, obs_allowance, obs_index, obs_price, set_aside_row (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: digest  sums of row hashes, joined
-- method: arithmetic only
WITH price AS (
    SELECT count(*) AS n, sum(CAST(hash(p.key_hash, p.micro_price, a.quantity, p.is_average, p.is_wholesale, h.reason) AS HUGEINT)) AS s
    FROM obs_price p
    JOIN amount a ON a.amount_id = p.amount
    LEFT JOIN edit_hold h ON h.file_id = p.file_id AND h.line = p.line
),
arrived AS (
    SELECT sum(CAST(hash(sha256, name, source, gives, n_read, n_quarantined) AS HUGEINT)) AS s FROM file
),
aside AS (
    SELECT sum(CAST(hash(f.sha256, r.line, r.code, r.field, r.text, r.cure) AS HUGEINT)) AS s
    FROM set_aside_row r
    JOIN file f ON f.file_id = r.file_id
),
indices AS (
    SELECT sum(CAST(hash(series, region, month, index_value, base_period, adjustment) AS HUGEINT)) AS s FROM obs_index
),
allowed AS (
    SELECT sum(CAST(hash(programme, region, persons, amount_kind, effective_from, effective_to, amount, currency_code, source) AS HUGEINT)) AS s FROM obs_allowance
)
SELECT p.n AS n_obs, concat_ws(' ', p.n, p.s, f.s, r.s, x.s, w.s) AS digest
FROM price p, arrived f, aside r, indices x, allowed w
