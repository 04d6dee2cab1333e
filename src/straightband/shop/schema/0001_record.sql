-- The record of the shop, version 1.
-- Nothing in it is ever changed or taken out: triggers refuse it. A correction is a new entry whose `corrects` names the first one;
-- other entries go on naming the first, and the newest with that name is the one that holds.
-- Times are UTC, as 2026-03-03T09:41:07Z.

-- A lamp of the shop: what is said of its light, as it is typed.
CREATE TABLE lamp (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES lamp (id),
    name TEXT NOT NULL,
    light TEXT NOT NULL
) STRICT;
CREATE INDEX lamp_corrects ON lamp (corrects);
CREATE TRIGGER lamp_never_changed BEFORE UPDATE ON lamp BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER lamp_never_taken_out BEFORE DELETE ON lamp BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- An abrasive, by the size of its grain.
CREATE TABLE abrasive (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES abrasive (id),
    name TEXT NOT NULL,
    grain_um REAL NOT NULL CHECK (grain_um > 0)
) STRICT;
CREATE INDEX abrasive_corrects ON abrasive (corrects);
CREATE TRIGGER abrasive_never_changed BEFORE UPDATE ON abrasive BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER abrasive_never_taken_out BEFORE DELETE ON abrasive BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A polishing pad or a lap.
CREATE TABLE pad (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES pad (id),
    name TEXT NOT NULL,
    diameter_mm REAL NOT NULL CHECK (diameter_mm > 0),
    note TEXT NOT NULL
) STRICT;
CREATE INDEX pad_corrects ON pad (corrects);
CREATE TRIGGER pad_never_changed BEFORE UPDATE ON pad BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER pad_never_taken_out BEFORE DELETE ON pad BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A reference flat, with the map that is taken off readings made on it.
CREATE TABLE flat (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES flat (id),
    name TEXT NOT NULL,
    map_name TEXT NOT NULL,
    map_sha256 TEXT NOT NULL,
    note TEXT NOT NULL
) STRICT;
CREATE INDEX flat_corrects ON flat (corrects);
CREATE TRIGGER flat_never_changed BEFORE UPDATE ON flat BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER flat_never_taken_out BEFORE DELETE ON flat BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Name of the shop and who signs, as they stand on papers.
CREATE TABLE shopkeeper (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES shopkeeper (id),
    name TEXT NOT NULL,
    signed_by TEXT NOT NULL
) STRICT;
CREATE INDEX shopkeeper_corrects ON shopkeeper (corrects);
CREATE TRIGGER shopkeeper_never_changed BEFORE UPDATE ON shopkeeper BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER shopkeeper_never_taken_out BEFORE DELETE ON shopkeeper BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- An order: what was asked (told, as typed) and what was answered (found).
CREATE TABLE orders (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES orders (id),
    name TEXT NOT NULL,
    customer TEXT NOT NULL,
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    program TEXT NOT NULL
) STRICT;
CREATE INDEX orders_corrects ON orders (corrects);
CREATE TRIGGER orders_never_changed BEFORE UPDATE ON orders BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER orders_never_taken_out BEFORE DELETE ON orders BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Pieces that are ground together, with the plan for them.
CREATE TABLE batch (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES batch (id),
    name TEXT NOT NULL,
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    program TEXT NOT NULL
) STRICT;
CREATE INDEX batch_corrects ON batch (corrects);
CREATE TRIGGER batch_never_changed BEFORE UPDATE ON batch BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER batch_never_taken_out BEFORE DELETE ON batch BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A piece of glass; told holds its shape, sizes, glass and thickness as typed.
CREATE TABLE piece (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES piece (id),
    order_id INTEGER REFERENCES orders (id),
    batch_id INTEGER REFERENCES batch (id),
    name TEXT NOT NULL,
    told TEXT NOT NULL CHECK (json_valid(told))
) STRICT;
CREATE INDEX piece_corrects ON piece (corrects);
CREATE INDEX piece_order_id ON piece (order_id);
CREATE INDEX piece_batch_id ON piece (batch_id);
CREATE TRIGGER piece_never_changed BEFORE UPDATE ON piece BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER piece_never_taken_out BEFORE DELETE ON piece BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A face of a piece that is worked.
CREATE TABLE face (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES face (id),
    piece_id INTEGER NOT NULL REFERENCES piece (id),
    name TEXT NOT NULL
) STRICT;
CREATE INDEX face_corrects ON face (corrects);
CREATE INDEX face_piece_id ON face (piece_id);
CREATE TRIGGER face_never_changed BEFORE UPDATE ON face BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER face_never_taken_out BEFORE DELETE ON face BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A run that was begun, so that its clock survives a reload.
CREATE TABLE timer (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES timer (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    work TEXT NOT NULL,
    minutes REAL NOT NULL CHECK (minutes > 0)
) STRICT;
CREATE INDEX timer_corrects ON timer (corrects);
CREATE INDEX timer_face_id ON timer (face_id);
CREATE TRIGGER timer_never_changed BEFORE UPDATE ON timer BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER timer_never_taken_out BEFORE DELETE ON timer BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A run on the lap that was done; minutes of zero say that a timer was stopped for nothing.
CREATE TABLE run (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES run (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    timer_id INTEGER UNIQUE REFERENCES timer (id),
    work TEXT NOT NULL,
    position TEXT NOT NULL,
    abrasive_id INTEGER REFERENCES abrasive (id),
    pad_id INTEGER REFERENCES pad (id),
    minutes REAL NOT NULL CHECK (minutes >= 0),
    note TEXT NOT NULL
) STRICT;
CREATE INDEX run_corrects ON run (corrects);
CREATE INDEX run_face_id ON run (face_id);
CREATE TRIGGER run_never_changed BEFORE UPDATE ON run BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER run_never_taken_out BEFORE DELETE ON run BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Spherometer readings (told) and the sag they give (found).
CREATE TABLE gauging (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES gauging (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    program TEXT NOT NULL
) STRICT;
CREATE INDEX gauging_corrects ON gauging (corrects);
CREATE INDEX gauging_face_id ON gauging (face_id);
CREATE TRIGGER gauging_never_changed BEFORE UPDATE ON gauging BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER gauging_never_taken_out BEFORE DELETE ON gauging BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A photograph; the file lies in photos under its hash. The same file of the same face is one entry.
CREATE TABLE photograph (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES photograph (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    sha256 TEXT NOT NULL,
    name TEXT NOT NULL,
    bytes INTEGER NOT NULL CHECK (bytes > 0),
    UNIQUE (face_id, sha256)
) STRICT;
CREATE INDEX photograph_corrects ON photograph (corrects);
CREATE INDEX photograph_face_id ON photograph (face_id);
CREATE TRIGGER photograph_never_changed BEFORE UPDATE ON photograph BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER photograph_never_taken_out BEFORE DELETE ON photograph BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- What was read of photographs: the settings as typed, the facts, what is drawn over the first photograph, and the map.
CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES reading (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    flat_id INTEGER REFERENCES flat (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    drawing TEXT NOT NULL CHECK (json_valid(drawing)),
    map_sha256 TEXT NOT NULL,
    program TEXT NOT NULL
) STRICT;
CREATE INDEX reading_corrects ON reading (corrects);
CREATE INDEX reading_face_id ON reading (face_id);
CREATE TRIGGER reading_never_changed BEFORE UPDATE ON reading BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER reading_never_taken_out BEFORE DELETE ON reading BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Which photographs a reading rests on, in their order.
CREATE TABLE exposure (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES exposure (id),
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    photograph_id INTEGER NOT NULL REFERENCES photograph (id),
    place INTEGER NOT NULL,
    UNIQUE (reading_id, place)
) STRICT;
CREATE INDEX exposure_corrects ON exposure (corrects);
CREATE INDEX exposure_photograph_id ON exposure (photograph_id);
CREATE TRIGGER exposure_never_changed BEFORE UPDATE ON exposure BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER exposure_never_taken_out BEFORE DELETE ON exposure BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Whether the face that was read is good enough for a telescope.
CREATE TABLE verdict (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES verdict (id),
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    program TEXT NOT NULL
) STRICT;
CREATE INDEX verdict_corrects ON verdict (corrects);
CREATE INDEX verdict_reading_id ON verdict (reading_id);
CREATE TRIGGER verdict_never_changed BEFORE UPDATE ON verdict BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER verdict_never_taken_out BEFORE DELETE ON verdict BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A paper that was made; it lies in papers under its hash.
CREATE TABLE certificate (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES certificate (id),
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    verdict_id INTEGER NOT NULL REFERENCES verdict (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    pdf_sha256 TEXT NOT NULL,
    program TEXT NOT NULL
) STRICT;
CREATE INDEX certificate_corrects ON certificate (corrects);
CREATE INDEX certificate_reading_id ON certificate (reading_id);
CREATE TRIGGER certificate_never_changed BEFORE UPDATE ON certificate BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER certificate_never_taken_out BEFORE DELETE ON certificate BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- What a piece cost, or the shop.
CREATE TABLE cost (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES cost (id),
    piece_id INTEGER REFERENCES piece (id),
    what TEXT NOT NULL,
    amount REAL NOT NULL,
    currency TEXT NOT NULL,
    hours REAL NOT NULL CHECK (hours >= 0)
) STRICT;
CREATE INDEX cost_corrects ON cost (corrects);
CREATE INDEX cost_piece_id ON cost (piece_id);
CREATE TRIGGER cost_never_changed BEFORE UPDATE ON cost BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER cost_never_taken_out BEFORE DELETE ON cost BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Forms that were sent: the same form sent twice leads to the entry it made the first time.
CREATE TABLE form (
    token TEXT PRIMARY KEY,
    digest TEXT NOT NULL,
    kind TEXT NOT NULL,
    entry INTEGER NOT NULL
) STRICT;
CREATE TRIGGER form_never_changed BEFORE UPDATE ON form BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER form_never_taken_out BEFORE DELETE ON form BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Each entry's hash over itself and over the seal before it, so that a change made behind the program's back shows.
CREATE TABLE seal (
    number INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    entry INTEGER NOT NULL,
    sha256 TEXT NOT NULL
) STRICT;
CREATE TRIGGER seal_never_changed BEFORE UPDATE ON seal BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER seal_never_taken_out BEFORE DELETE ON seal BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- Work in hand, which is no record: it changes while it is done.
CREATE TABLE job (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    kind TEXT NOT NULL,
    told TEXT NOT NULL CHECK (json_valid(told)),
    state TEXT NOT NULL CHECK (state IN ('waiting', 'running', 'done', 'failed', 'stopped')),
    stage TEXT NOT NULL,
    sentence TEXT NOT NULL,
    leads_to TEXT NOT NULL,
    token TEXT UNIQUE
) STRICT;
CREATE INDEX job_state ON job (state);

-- Telephones that were paired, by the hash of their cookie.
CREATE TABLE telephone (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    name TEXT NOT NULL,
    cookie_sha256 TEXT NOT NULL UNIQUE,
    until TEXT NOT NULL
) STRICT;
