-- Version 2: runs of a grinding plan are ticked off one by one.

-- A run of a batch's plan, by its number in the plan, that was done.
CREATE TABLE tick (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES tick (id),
    batch_id INTEGER NOT NULL REFERENCES batch (id),
    number INTEGER NOT NULL CHECK (number > 0),
    minutes REAL NOT NULL CHECK (minutes >= 0),
    UNIQUE (batch_id, number)
) STRICT;
CREATE INDEX tick_corrects ON tick (corrects);
CREATE TRIGGER tick_never_changed BEFORE UPDATE ON tick BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER tick_never_taken_out BEFORE DELETE ON tick BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;
