-- obs_allowance: allowance amounts from open files.
CREATE TABLE obs_allowance (
    file_id        INTEGER NOT NULL,
    line           INTEGER NOT NULL,
    programme      VARCHAR NOT NULL,
    region         VARCHAR NOT NULL,
    persons        INTEGER NOT NULL,
    amount_kind    VARCHAR NOT NULL,
    effective_from DATE NOT NULL,
    effective_to   DATE,
    amount         VARCHAR NOT NULL, -- exact decimal text
    currency_code  VARCHAR NOT NULL,
    source         VARCHAR NOT NULL
)
