-- Version 3: works done on a piece. What a work left is a reading like any other.

-- A revision may be a record. The old table takes its triggers with it; all are made again after this.
CREATE TABLE revision_3 (
    id INTEGER PRIMARY KEY,
    made_on TEXT NOT NULL,
    made_by TEXT NOT NULL,
    action TEXT NOT NULL CHECK (action IN ('add', 'correct', 'withdraw', 'record')),
    why TEXT NOT NULL,
    -- SHA-256 over the previous revision's digest and all that this one brought.
    sha256 TEXT NOT NULL
) STRICT;

INSERT INTO revision_3 SELECT id, made_on, made_by, action, why, sha256 FROM revision;

DROP TABLE revision;

ALTER TABLE revision_3 RENAME TO revision;

CREATE TABLE work (
    -- The reading as left.
    specimen INTEGER NOT NULL,
    dimension INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    -- The reading as found: that of the same place with this number.
    found INTEGER NOT NULL,
    -- The revision that recorded it.
    revision INTEGER NOT NULL REFERENCES revision,
    tool TEXT NOT NULL,
    done_by TEXT NOT NULL,
    -- A day, as 2024-05-31.
    done_on TEXT NOT NULL,
    why TEXT NOT NULL,
    PRIMARY KEY (specimen, dimension, seq),
    FOREIGN KEY (specimen, dimension, seq) REFERENCES reading,
    FOREIGN KEY (specimen, dimension, found) REFERENCES reading
) STRICT, WITHOUT ROWID;

CREATE INDEX work_by_revision ON work (revision);

-- Pictures of a work, which are kept elsewhere.
CREATE TABLE picture (
    specimen INTEGER NOT NULL,
    dimension INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    -- Counts the pictures of one work.
    number INTEGER NOT NULL,
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    PRIMARY KEY (specimen, dimension, seq, number),
    FOREIGN KEY (specimen, dimension, seq) REFERENCES work
) STRICT, WITHOUT ROWID;
