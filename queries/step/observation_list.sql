-- observation_list: every observation of some regions with its flags, in the order of the published file.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: amount, edit_correction, edit_hold, file, obs_owner, obs_price, word (checked against the parsed SQL)
-- params: from_region, to_region                 (checked against the parsed SQL)
-- column: micro_price_set  the price set by a correction
-- method: arithmetic only
WITH rank AS (
    SELECT word_id, word, CAST(row_number() OVER (ORDER BY word) AS INTEGER) AS place FROM word
)
SELECT p.observation_id, p.day, p.region, p.outlet, p.item, p.variety, p.grade, p.gtin,
    coalesce(o.owner_amount, p.amount) AS amount, p.price_type, p.series,
    coalesce(p.micro_price, -1) AS micro_price, coalesce(c.micro_price, -1) AS micro_price_set,
    p.is_average, p.is_wholesale, coalesce(h.reason, '') AS held, coalesce(c.action, '') AS correction,
    coalesce(o.owner_file, p.file_id) AS file_id, coalesce(o.owner_line, p.line) AS line
FROM obs_price p
LEFT JOIN edit_hold h ON h.file_id = p.file_id AND h.line = p.line
LEFT JOIN edit_correction c ON c.file_id = p.file_id AND c.line = p.line
LEFT JOIN obs_owner o ON o.file_id = p.file_id AND o.line = p.line
JOIN amount a ON a.amount_id = p.amount
JOIN file f ON f.file_id = coalesce(o.owner_file, p.file_id)
JOIN rank region ON region.word_id = p.region
JOIN rank item ON item.word_id = p.item
JOIN rank grade ON grade.word_id = p.grade
JOIN rank outlet ON outlet.word_id = p.outlet
JOIN rank variety ON variety.word_id = p.variety
JOIN rank pack ON pack.word_id = a.pack
JOIN rank series ON series.word_id = p.series
WHERE region.word BETWEEN $from_region AND $to_region
ORDER BY region.place, item.place, grade.place, p.month, outlet.place, variety.place, pack.place, p.day, series.place, p.observation_id, p.key_hash, f.sha256, coalesce(o.owner_line, p.line)
