-- Version 3: backs on their way to clear, plates of pads, flats measured against each other, the shop's own prices.

-- A photograph of the printed grid through a dry mirror, of the face that is its back; minutes polished since the one before it,
-- or before the first. With begins = 1 the back was ground anew before it.
CREATE TABLE grid_photograph (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES grid_photograph (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    sha256 TEXT NOT NULL,
    name TEXT NOT NULL,
    bytes INTEGER NOT NULL CHECK (bytes > 0),
    minutes REAL NOT NULL CHECK (minutes >= 0),
    begins INTEGER NOT NULL CHECK (begins IN (0, 1)),
    UNIQUE (face_id, sha256)
) STRICT;
CREATE INDEX grid_photograph_corrects ON grid_photograph (corrects);
CREATE INDEX grid_photograph_face_id ON grid_photograph (face_id);
CREATE TRIGGER grid_photograph_never_changed BEFORE UPDATE ON grid_photograph BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER grid_photograph_never_taken_out BEFORE DELETE ON grid_photograph BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- How far a back has cleared: the settings as typed, the facts, and the picture of its clearness, which lies in papers.
CREATE TABLE clearing (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES clearing (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    picture_sha256 TEXT NOT NULL,
    program TEXT NOT NULL
) STRICT;
CREATE INDEX clearing_corrects ON clearing (corrects);
CREATE INDEX clearing_face_id ON clearing (face_id);
CREATE TRIGGER clearing_never_changed BEFORE UPDATE ON clearing BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER clearing_never_taken_out BEFORE DELETE ON clearing BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A plate of pads for a piece's back; its template lies in papers.
CREATE TABLE plate (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES plate (id),
    piece_id INTEGER NOT NULL REFERENCES piece (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    template_sha256 TEXT NOT NULL,
    program TEXT NOT NULL
) STRICT;
CREATE INDEX plate_corrects ON plate (corrects);
CREATE INDEX plate_piece_id ON plate (piece_id);
CREATE TRIGGER plate_never_changed BEFORE UPDATE ON plate BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER plate_never_taken_out BEFORE DELETE ON plate BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Flats by themselves, from readings of their pairs; the map of each lies in maps under the hash that found names.
CREATE TABLE flat_test (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES flat_test (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    program TEXT NOT NULL
) STRICT;
CREATE INDEX flat_test_corrects ON flat_test (corrects);
CREATE TRIGGER flat_test_never_changed BEFORE UPDATE ON flat_test BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER flat_test_never_taken_out BEFORE DELETE ON flat_test BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- What things cost the shop and how long they take: the lines as they stand in a price file.
CREATE TABLE prices (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES prices (id),
    told TEXT NOT NULL CHECK (json_valid(told))
) STRICT;
CREATE INDEX prices_corrects ON prices (corrects);
CREATE TRIGGER prices_never_changed BEFORE UPDATE ON prices BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER prices_never_taken_out BEFORE DELETE ON prices BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;
