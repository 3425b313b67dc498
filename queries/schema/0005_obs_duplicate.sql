-- obs_duplicate: rows that repeat an observation kept in obs_price.
CREATE TABLE obs_duplicate (
    file_id     INTEGER NOT NULL,
    line        INTEGER NOT NULL,
    key_hash    UBIGINT NOT NULL,
    micro_price BIGINT,
    amount      INTEGER NOT NULL
)
