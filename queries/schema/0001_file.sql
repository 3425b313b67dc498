-- file: every archived file that the database holds, in order of arrival.
CREATE TABLE file (
    file_id     INTEGER NOT NULL,
    sha256      VARCHAR NOT NULL,
    name        VARCHAR NOT NULL,
    source      VARCHAR NOT NULL,
    gives       VARCHAR NOT NULL,
    source_rank INTEGER NOT NULL, -- place of the source in the settings: the first declared stands
    n_read      BIGINT NOT NULL,
    n_quarantined BIGINT NOT NULL
)
