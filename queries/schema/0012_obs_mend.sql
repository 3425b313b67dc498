-- obs_mend: rows of sheets that came back, and the row set aside that each is to mend.
CREATE TABLE obs_mend (
    file_id     INTEGER NOT NULL,
    line        INTEGER NOT NULL,
    mends_file  VARCHAR NOT NULL, -- first 12 hex digits of that file's sha256
    mends_line  INTEGER NOT NULL,
    is_accepted BOOLEAN NOT NULL  -- false where the row was set aside itself
)
