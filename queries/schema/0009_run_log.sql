-- run_log: a row a stage of each run; a stage is fresh while its inputs' hash equals its last good one.
CREATE TABLE run_log (
    run_id     INTEGER NOT NULL,
    stage      VARCHAR NOT NULL,
    state      VARCHAR NOT NULL, -- fresh, done, failed
    why        VARCHAR NOT NULL,
    input_hash VARCHAR NOT NULL,
    parts      VARCHAR NOT NULL, -- the inputs, each with its own hash, as JSON
    output_hash VARCHAR NOT NULL,
    rows_in    BIGINT NOT NULL,
    rows_out   BIGINT NOT NULL,
    rows_rejected BIGINT NOT NULL,
    started_at TIMESTAMP NOT NULL,
    seconds    DOUBLE NOT NULL,
    error      VARCHAR NOT NULL
)
