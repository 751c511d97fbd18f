-- A small invented collection of version 2, dumped as SQL.
PRAGMA application_id = 1128418386;
PRAGMA user_version = 2;
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
INSERT INTO "circumstance" VALUES(1,'','Mo','2001-02-03','','');
INSERT INTO "circumstance" VALUES(2,'','Mo','','','');
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
INSERT INTO "description" VALUES(1,1,'Row Works','apple','','1930','','','');
INSERT INTO "description" VALUES(2,1,'Row Works','apple','','1931','','','');
INSERT INTO "description" VALUES(3,1,'Row Works','apple','','1932','','','');
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
INSERT INTO "dimension" VALUES(1,1,'bit_width','bit width','mm','','side to side just forward of the button',6.0,30.0,'down','down');
INSERT INTO "dimension" VALUES(2,1,'bit_thickness','bit thickness','mm','bite thickness;bite zone thickness','top to bottom in the bite zone, just forward of the button',2.0,9.0,'down','down');
INSERT INTO "dimension" VALUES(3,2,'weight','weight','g','mass','whole pipe, empty and dry, on a balance',8.0,250.0,'down','down');
INSERT INTO "dimension" VALUES(4,2,'draught_diameter','draught diameter','mm','airway;airway diameter;draft hole;draught hole','the airway in the shank, by drill gauge',1.5,8.0,'','up');
CREATE TABLE file (
    id INTEGER PRIMARY KEY,
    revision INTEGER NOT NULL REFERENCES revision,
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    -- How it was read (JSON): renamed and skipped columns, new dimensions.
    options TEXT NOT NULL
) STRICT;
INSERT INTO "file" VALUES(1,1,'a.csv','882bc554c263fe96482916c7e91fa6f3a0a41be13d55def19f498ebfd8a3aa57','{"column":[],"new_dimensions":false,"skip":[]}');
INSERT INTO "file" VALUES(2,1,'p.csv','19819b17289a03b98c754bd10b42da237fefb40df6ad96ac5b6e7879d81d53d0','{"column":[],"new_dimensions":false,"skip":[]}');
INSERT INTO "file" VALUES(3,2,'l.csv','a4b056e3ef14b2883e4c655219faf7859a55a85dd684d30041e5d788bb1f036c','{"column":[],"new_dimensions":false,"skip":[]}');
INSERT INTO "file" VALUES(4,2,'t.csv','bb75a69d846301f3d66ad34dd2d6789d3b28317e692b31e0d7935fb4a7a19d21','{"column":[],"new_dimensions":false,"skip":[]}');
INSERT INTO "file" VALUES(5,3,'c.csv','265ff3b155c3ed303a090b74778114471d709d789f2fe17fced66fc2ff64691e','{"column":[],"new_dimensions":false,"skip":[]}');
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
INSERT INTO "period" VALUES(1,1,'Row Works','Old Shop',1921,1938,'good','');
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
INSERT INTO "reading" VALUES(1,1,1,1,16.1,2.88675134594812898489e-03,0,0,'16.10',NULL);
INSERT INTO "reading" VALUES(1,2,1,1,4.6,2.88675134594812907162e-02,0,0,'4.6',NULL);
INSERT INTO "reading" VALUES(1,4,1,3,3.9878,1.83308710467706345581e-02,0,2,'#22',1);
INSERT INTO "reading" VALUES(2,1,1,1,16.22,2.88675134594812898489e-03,0,0,'16.22',NULL);
INSERT INTO "reading" VALUES(2,2,1,1,4.5,2.88675134594812907162e-02,1,0,'4.5 {worn}',NULL);
INSERT INTO "reading" VALUES(2,3,1,3,42.5242846875,0.01,0,4,'1.5 oz',2);
INSERT INTO "reading" VALUES(3,1,1,1,15.95,2.88675134594812898489e-03,0,0,'15.95',NULL);
INSERT INTO "reading" VALUES(3,1,2,5,15.85,2.88675134594812898489e-03,0,0,'15.85',NULL);
INSERT INTO "reading" VALUES(3,2,1,1,4.4,2.88675134594812907162e-02,0,0,'4.4',NULL);
CREATE TABLE revision (
    id INTEGER PRIMARY KEY,
    made_on TEXT NOT NULL,
    made_by TEXT NOT NULL,
    action TEXT NOT NULL CHECK (action IN ('add', 'correct', 'withdraw')),
    why TEXT NOT NULL,
    -- SHA-256 over the previous revision's digest and all that this one brought.
    sha256 TEXT NOT NULL
) STRICT;
INSERT INTO "revision" VALUES(1,'2026-11-29T03:12:34Z','Maria','add','','c364ba47cca6107bbfa5c93020335c6c8a567164d4d536d5dec31fa44752152a');
INSERT INTO "revision" VALUES(2,'2026-11-29T03:12:34Z','tester','add','','4274579497b54a8ba5a204d3a0b0b4951960ab4e6b4cc143a147366b312d8ee0');
INSERT INTO "revision" VALUES(3,'2026-11-29T03:12:34Z','tester','correct','9 for 8','ccc412a035d0330abd3311fff2b898d7f748a472f6fe12b1c566aa42b2cfaa83');
INSERT INTO "revision" VALUES(4,'2026-11-29T03:12:34Z','tester','withdraw','slipped','3031f8c164374186911aa24414ec9658face8d7ab8be5b0e74b45c2835c1ba7f');
CREATE TABLE specimen (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;
INSERT INTO "specimen" VALUES(1,'A1');
INSERT INTO "specimen" VALUES(2,'A2');
INSERT INTO "specimen" VALUES(3,'A3');
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
INSERT INTO "trace" VALUES(1,'stem_top',1,1,4,0,0.02,NULL,'.','mm','0,0.00
10,0.12
');
INSERT INTO "trace" VALUES(2,'bowl_section@25',1,1,4,1,NULL,NULL,'.','','0,18.1
120,18.3
');
CREATE TABLE trace_withdrawal (
    specimen INTEGER NOT NULL,
    feature TEXT NOT NULL,
    repeat INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    revision INTEGER NOT NULL REFERENCES revision,
    PRIMARY KEY (specimen, feature, repeat, seq),
    FOREIGN KEY (specimen, feature, repeat, seq) REFERENCES trace
) STRICT, WITHOUT ROWID;
INSERT INTO "trace_withdrawal" VALUES(2,'bowl_section@25',1,1,4);
CREATE TABLE withdrawal (
    specimen INTEGER NOT NULL,
    dimension INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    revision INTEGER NOT NULL REFERENCES revision,
    PRIMARY KEY (specimen, dimension, seq),
    FOREIGN KEY (specimen, dimension, seq) REFERENCES reading
) STRICT, WITHOUT ROWID;
INSERT INTO "withdrawal" VALUES(3,1,1,3);
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
CREATE TRIGGER no_UPDATE_of_trace BEFORE UPDATE ON trace
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_trace BEFORE DELETE ON trace
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_UPDATE_of_trace_withdrawal BEFORE UPDATE ON trace_withdrawal
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
CREATE TRIGGER no_DELETE_of_trace_withdrawal BEFORE DELETE ON trace_withdrawal
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END;
COMMIT;
