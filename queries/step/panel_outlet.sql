-- panel_outlet: mean log unit price of the items of baskets at each outlet in a month, over varieties and packs.
-- grain:  region, item, grade, outlet, month     (checked: unique, not null)
-- inputs: basket_item, panel_series              (checked against the parsed SQL)
-- params: none                                   (checked against the parsed SQL)
-- column: ln_price  1e-12
-- method: ILO et al., Consumer Price Index Manual 2020, 8.19 (Jevons); logs in fixed point
SELECT s.region, s.item, s.grade, s.outlet, s.month,
    CAST(round(CAST(sum(s.sum_ln) AS DOUBLE) / sum(s.n_packs)) AS BIGINT) AS ln_price
FROM panel_series s
JOIN basket_item b ON b.item = s.item
GROUP BY s.region, s.item, s.grade, s.outlet, s.month
ORDER BY s.region, s.item, s.grade, s.month, s.outlet
