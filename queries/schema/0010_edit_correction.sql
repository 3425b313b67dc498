-- edit_correction: the corrections that hold now, resolved to rows.
CREATE TABLE edit_correction (
    file_id     INTEGER NOT NULL,
    line        INTEGER NOT NULL,
    action      VARCHAR NOT NULL,
    micro_price BIGINT -- the price set, NULL where it stays
)
