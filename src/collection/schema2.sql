-- Version 2: traces, each as it was written.

CREATE TABLE trace (
    specimen INTEGER NOT NULL REFERENCES specimen,
    -- A feature's key, with its place: bowl_section@25.
    feature TEXT NOT NULL,
    -- Which of several traces of one feature.
    repeat INTEGER NOT NULL,
    -- Counts the traces of one place and repeat, withdrawn ones included.
    seq INTEGER NOT NULL,
    file INTEGER NOT NULL REFERENCES file,
    state INTEGER NOT NULL,
    -- Standard uncertainty of one reading in mm, where it was given.
    uncertainty REAL,
    circumstance INTEGER REFERENCES circumstance,
    decimal_mark TEXT NOT NULL CHECK (decimal_mark IN ('.', ',')),
    -- The unit that all points share, verbatim.
    unit TEXT NOT NULL,
    -- Lines of CSV, verbatim cells: station,reading and the unit where they share none.
    points TEXT NOT NULL,
    PRIMARY KEY (specimen, feature, repeat, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE trace_withdrawal (
    specimen INTEGER NOT NULL,
    feature TEXT NOT NULL,
    repeat INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    revision INTEGER NOT NULL REFERENCES revision,
    PRIMARY KEY (specimen, feature, repeat, seq),
    FOREIGN KEY (specimen, feature, repeat, seq) REFERENCES trace
) STRICT, WITHOUT ROWID;
