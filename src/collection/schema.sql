-- Version 1 of a collection. Nothing is ever changed or deleted: see the triggers at the end.

CREATE TABLE revision (
    id INTEGER PRIMARY KEY,
    made_on TEXT NOT NULL,
    made_by TEXT NOT NULL,
    action TEXT NOT NULL CHECK (action IN ('add', 'correct', 'withdraw')),
    why TEXT NOT NULL,
    -- SHA-256 over the previous revision's digest and all that this one brought.
    sha256 TEXT NOT NULL
) STRICT;

CREATE TABLE file (
    id INTEGER PRIMARY KEY,
    revision INTEGER NOT NULL REFERENCES revision,
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    -- How it was read (JSON): renamed and skipped columns, new dimensions.
    options TEXT NOT NULL
) STRICT;

CREATE INDEX file_by_content ON file (sha256, options);

CREATE TABLE dimension (
    id INTEGER PRIMARY KEY,
    revision INTEGER NOT NULL REFERENCES revision,
    key TEXT NOT NULL UNIQUE,
    label TEXT NOT NULL,
    unit TEXT NOT NULL,
    synonyms TEXT NOT NULL,
    how_measured TEXT NOT NULL,
    credible_low REAL,
    credible_high REAL,
    wear_moves TEXT NOT NULL,
    tool_moves TEXT NOT NULL
) STRICT;

CREATE TABLE period (
    id INTEGER PRIMARY KEY,
    revision INTEGER NOT NULL REFERENCES revision,
    maker TEXT NOT NULL,
    name TEXT NOT NULL,
    year_from INTEGER NOT NULL,
    year_to INTEGER NOT NULL,
    standing TEXT NOT NULL CHECK (standing IN ('good', 'poor', 'unrated')),
    note TEXT NOT NULL
) STRICT;

CREATE TABLE period_withdrawal (
    period INTEGER PRIMARY KEY REFERENCES period,
    revision INTEGER NOT NULL REFERENCES revision
) STRICT;

CREATE TABLE specimen (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;

-- What is said of a specimen; the newest revision counts.
CREATE TABLE description (
    specimen INTEGER NOT NULL REFERENCES specimen,
    revision INTEGER NOT NULL REFERENCES revision,
    maker TEXT NOT NULL,
    pattern TEXT NOT NULL,
    finish TEXT NOT NULL,
    made TEXT NOT NULL,
    period TEXT NOT NULL,
    source TEXT NOT NULL,
    note TEXT NOT NULL,
    PRIMARY KEY (specimen, revision)
) STRICT, WITHOUT ROWID;

CREATE TABLE circumstance (
    id INTEGER PRIMARY KEY,
    instrument TEXT NOT NULL,
    measured_by TEXT NOT NULL,
    measured_on TEXT NOT NULL,
    source TEXT NOT NULL,
    note TEXT NOT NULL,
    UNIQUE (instrument, measured_by, measured_on, source, note)
) STRICT;

CREATE TABLE reading (
    specimen INTEGER NOT NULL REFERENCES specimen,
    dimension INTEGER NOT NULL REFERENCES dimension,
    -- Counts the readings of one place, withdrawn ones included.
    seq INTEGER NOT NULL,
    file INTEGER NOT NULL REFERENCES file,
    value REAL NOT NULL,
    uncertainty REAL NOT NULL,
    state INTEGER NOT NULL,
    -- The unit it was written in.
    unit INTEGER NOT NULL,
    -- The cell, verbatim.
    text TEXT NOT NULL,
    circumstance INTEGER REFERENCES circumstance,
    PRIMARY KEY (specimen, dimension, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE withdrawal (
    specimen INTEGER NOT NULL,
    dimension INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    revision INTEGER NOT NULL REFERENCES revision,
    PRIMARY KEY (specimen, dimension, seq),
    FOREIGN KEY (specimen, dimension, seq) REFERENCES reading
) STRICT, WITHOUT ROWID;
