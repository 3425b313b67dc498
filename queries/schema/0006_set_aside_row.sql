-- set_aside_row: rows that could not be read, with their text and a cure.
CREATE TABLE set_aside_row (
    file_id INTEGER NOT NULL,
    line    INTEGER NOT NULL,
    code    VARCHAR NOT NULL,
    field   VARCHAR NOT NULL,
    text    VARCHAR NOT NULL, -- of the field
    cure    VARCHAR NOT NULL,
    row_text VARCHAR NOT NULL
)
