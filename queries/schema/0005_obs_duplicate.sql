-- obs_duplicate: rows that repeat an observation kept in obs_price.
CREATE TABLE obs_duplicate (
    file_id     INTEGER NOT NULL,
    line        INTEGER NOT NULL,
    of_file     INTEGER NOT NULL, -- file_id and line of the row kept
    of_line     INTEGER NOT NULL,
    amount      INTEGER NOT NULL
)
