-- edit_hold: observations that an edit rule holds until they are released, with all their reasons.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: edit_conflict, edit_suspect, obs_price (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: reason  two_prices, own_series, peers, label_off, joined by +
-- method: arithmetic only
WITH reason AS (
    SELECT file_id, line, reason FROM edit_conflict
    UNION ALL
    SELECT file_id, line, reason FROM edit_suspect
    UNION ALL
    SELECT file_id, line, 'label_off' AS reason FROM obs_price WHERE is_label_off
)
SELECT file_id, line, string_agg(reason, '+' ORDER BY reason) AS reason
FROM reason
GROUP BY file_id, line
ORDER BY file_id, line
