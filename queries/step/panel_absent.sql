-- panel_absent: notes that say why there is no price.
-- grain:  region, item, grade, month             (checked: unique, not null)
-- inputs: edit_correction, obs_price, word       (checked against the parsed SQL)
-- params: default_grade                          (checked against the parsed SQL)
-- column: price_type  not_sold or out_of_stock (not_sold where both were noted)
-- method: arithmetic only
SELECT p.region, p.item, CASE WHEN p.grade = 0 THEN CAST($default_grade AS INTEGER) ELSE p.grade END AS grade, p.month, min(t.word) AS price_type
FROM obs_price p
JOIN word t ON t.word_id = p.price_type
LEFT JOIN edit_correction c ON c.file_id = p.file_id AND c.line = p.line
WHERE p.micro_price IS NULL AND NOT p.is_wholesale AND coalesce(c.action, '') <> 'exclude'
GROUP BY ALL
ORDER BY ALL
