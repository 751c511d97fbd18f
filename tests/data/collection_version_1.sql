-- A small invented collection of version 1, dumped as SQL.
PRAGMA application_id = 1128418386;
PRAGMA user_version = 1;
-- The tables come in the order of their names.
PRAGMA foreign_keys = OFF;
BEGIN TRANSACTION;
CREATE TABLE circumstance (
    id INTEGER PRIMARY KEY,
    instrument TEXT NOT NULL,
    measured_by TEXT NOT NULL,
    measured_on TEXT NOT NULL,
    source TEXT NOT NULL,
    note TEXT NOT NULL,
    UNIQUE (instrument, measured_by, measured_on, source, note)
) STRICT;
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
INSERT INTO "description" VALUES(1,1,'Row Works','apple','','1930','','','invented');
INSERT INTO "description" VALUES(2,1,'Row Works','apple','','1931','','','invented');
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
INSERT INTO "dimension" VALUES(1,1,'cant_angle','cant angle','deg','rake','lean of the bowl axis from square to the shank, forward positive',-30.0,60.0,'','');
INSERT INTO "dimension" VALUES(2,1,'bit_width','bit width','mm','','side to side just forward of the button',6.0,30.0,'down','down');
CREATE TABLE file (
    id INTEGER PRIMARY KEY,
    revision INTEGER NOT NULL REFERENCES revision,
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    -- How it was read (JSON): renamed and skipped columns, new dimensions.
    options TEXT NOT NULL
) STRICT;
INSERT INTO "file" VALUES(1,1,'apples1.csv','c79ee07fc5bbfa840480b4a4a31a00fd7939db3e4010f4f7d11d19c3fbed9d85','{"column":[],"new_dimensions":false,"skip":[]}');
INSERT INTO "file" VALUES(2,2,'apples2.csv','be4c2d4d34214639572acfb8a5f66f65639d5841e8099890a87ea3cad31960b0','{"column":[],"new_dimensions":false,"skip":[]}');
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
INSERT INTO "reading" VALUES(1,1,1,1,2.0,2.88675134594812907162e-02,0,5,'2.0',NULL);
INSERT INTO "reading" VALUES(1,2,1,1,16.1,2.88675134594812898489e-03,0,0,'16.10',NULL);
INSERT INTO "reading" VALUES(1,2,2,2,16.12,2.88675134594812898489e-03,0,0,'16.12',NULL);
INSERT INTO "reading" VALUES(2,1,1,1,2.5,2.88675134594812907162e-02,0,5,'2.5',NULL);
INSERT INTO "reading" VALUES(2,2,1,1,16.22,2.88675134594812898489e-03,1,0,'16.22 {worn}',NULL);
CREATE TABLE revision (
    id INTEGER PRIMARY KEY,
    made_on TEXT NOT NULL,
    made_by TEXT NOT NULL,
    action TEXT NOT NULL CHECK (action IN ('add', 'correct', 'withdraw')),
    why TEXT NOT NULL,
    -- SHA-256 over the previous revision's digest and all that this one brought.
    sha256 TEXT NOT NULL
) STRICT;
INSERT INTO "revision" VALUES(1,'2026-11-25T20:02:37Z','Jo','add','','1a92f103800b1fd087466536a5fc54c35b306d0d0531ede4267804a97e204091');
INSERT INTO "revision" VALUES(2,'2026-11-25T20:02:37Z','Jo','correct','slip','be035fc25a1948448866435cbdb5d5dc5aacfa12a65f9d17e7f51999e192991e');
INSERT INTO "revision" VALUES(3,'2026-11-25T20:02:37Z','Jo','withdraw','turned','21f27a2e0fe4c5f3fd157dc97ef23360a848853e6ff4b31f69b5baaaba5f0d5b');
CREATE TABLE specimen (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;
INSERT INTO "specimen" VALUES(1,'A1');
INSERT INTO "specimen" VALUES(2,'A2');
CREATE TABLE withdrawal (
    specimen INTEGER NOT NULL,
    dimension INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    revision INTEGER NOT NULL REFERENCES revision,
    PRIMARY KEY (specimen, dimension, seq),
    FOREIGN KEY (specimen, dimension, seq) REFERENCES reading
) STRICT, WITHOUT ROWID;
INSERT INTO "withdrawal" VALUES(1,2,1,2);
INSERT INTO "withdrawal" VALUES(2,1,1,3);
CREATE INDEX file_by_content ON file (sha256, options);
CREATE TRIGGER no_UPDATE_of_revision BEFORE UPDATE ON revision
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_revision BEFORE DELETE ON revision
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_file BEFORE UPDATE ON file
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_file BEFORE DELETE ON file
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_dimension BEFORE UPDATE ON dimension
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_dimension BEFORE DELETE ON dimension
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_period BEFORE UPDATE ON period
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_period BEFORE DELETE ON period
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_period_withdrawal BEFORE UPDATE ON period_withdrawal
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_period_withdrawal BEFORE DELETE ON period_withdrawal
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_specimen BEFORE UPDATE ON specimen
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_specimen BEFORE DELETE ON specimen
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_description BEFORE UPDATE ON description
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_description BEFORE DELETE ON description
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_circumstance BEFORE UPDATE ON circumstance
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_circumstance BEFORE DELETE ON circumstance
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_reading BEFORE UPDATE ON reading
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_reading BEFORE DELETE ON reading
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_withdrawal BEFORE UPDATE ON withdrawal
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_withdrawal BEFORE DELETE ON withdrawal
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
COMMIT;
