-- amount: each distinct way in which an amount bought was written, once.
CREATE TABLE amount (
    amount_id INTEGER NOT NULL,
    as_read   VARCHAR NOT NULL, -- the pack as typed
    pack      INTEGER NOT NULL, -- word: the same in base units, "3 of 1 x 0.4 kg"
    quantity  DOUBLE,           -- what the price buys, in base_unit; NULL where nothing was priced
    base_unit VARCHAR NOT NULL,
    is_measured BOOLEAN NOT NULL -- weighed by the note-taker, not read off the label
)
