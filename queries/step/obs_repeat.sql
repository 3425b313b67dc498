-- obs_repeat: rows that repeat an earlier one in all that counts, key, price and amount; the row that came first stays.
-- grain:  file_id, line                          (checked: unique, not null)
-- inputs: amount, obs_price, obs_shared          (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: of_file  file_id of the row that stays
-- method: arithmetic only
WITH numbered AS (
    SELECT p.file_id, p.line, p.amount, row_number() OVER same AS place,
        first_value(p.file_id) OVER same AS of_file, first_value(p.line) OVER same AS of_line
    FROM obs_price p
    JOIN obs_shared s ON s.key_hash = p.key_hash
    JOIN amount a ON a.amount_id = p.amount
    WINDOW same AS (
        PARTITION BY p.key_hash, p.micro_price, a.quantity, p.is_average, p.is_wholesale, p.is_label_off
        ORDER BY p.file_id, p.line
    )
)
SELECT file_id, line, of_file, of_line, amount
FROM numbered
WHERE place > 1
ORDER BY file_id, line
