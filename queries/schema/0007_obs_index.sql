-- obs_index: values of price indices from open files.
CREATE TABLE obs_index (
    file_id     INTEGER NOT NULL,
    line        INTEGER NOT NULL,
    series      VARCHAR NOT NULL,
    region      VARCHAR NOT NULL,
    month       INTEGER NOT NULL,
    index_value DOUBLE NOT NULL,
    base_period VARCHAR NOT NULL,
    adjustment  VARCHAR NOT NULL
)
