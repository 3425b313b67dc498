-- basket_pack: the packs of panel_pack whose items stand in a basket.
-- grain:  region, item, grade, outlet, variety, pack, month (checked: unique, not null)
-- inputs: basket_item, panel_pack                (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: ln_price  1e-12
-- method: arithmetic only
SELECT p.region, p.item, p.grade, p.outlet, p.variety, p.pack, p.month, p.size, p.ln_price
FROM panel_pack p
JOIN basket_item b ON b.item = p.item
ORDER BY p.region, p.item, p.grade, p.month, p.outlet, p.variety, p.pack
