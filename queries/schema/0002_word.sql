-- word: each distinct text of the bulk tables once; they carry its number. Word 0 is the blank.
CREATE TABLE word (
    word_id INTEGER NOT NULL,
    word    VARCHAR NOT NULL
)
