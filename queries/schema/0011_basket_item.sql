-- basket_item: words of the items that stand in a basket.
CREATE TABLE basket_item (
    item INTEGER NOT NULL
)
