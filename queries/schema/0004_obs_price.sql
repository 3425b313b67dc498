-- obs_price: accepted price observations, typed. Texts stand as word numbers.
CREATE TABLE obs_price (
    file_id        INTEGER NOT NULL,
    line           INTEGER NOT NULL,
    key_hash       UBIGINT NOT NULL, -- of all that names the observation but its price
    observation_id UBIGINT NOT NULL, -- 48 bits, printed as 12 hex digits
    day            DATE NOT NULL,    -- of an average: the first of its month
    month          INTEGER NOT NULL, -- months since year 0
    region         INTEGER NOT NULL,
    outlet         INTEGER NOT NULL,
    item           INTEGER NOT NULL,
    variety        INTEGER NOT NULL,
    grade          INTEGER NOT NULL,
    gtin           INTEGER NOT NULL,
    amount         INTEGER NOT NULL,
    price_type     INTEGER NOT NULL,
    series         INTEGER NOT NULL,
    micro_price    BIGINT,           -- price in millionths of the currency; NULL where not sold or out of stock
    is_average     BOOLEAN NOT NULL,
    is_wholesale   BOOLEAN NOT NULL,
    is_label_off   BOOLEAN NOT NULL  -- the label's own unit price disagrees
)
