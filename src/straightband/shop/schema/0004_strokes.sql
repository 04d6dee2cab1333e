-- Version 4: laps, and runs of strokes that were advised, begun and done one by one.

-- A lap for figuring, as it stands in a file of laps; told may say that it is no longer in use.
CREATE TABLE lap (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES lap (id),
    name TEXT NOT NULL,
    told TEXT NOT NULL CHECK (json_valid(told))
) STRICT;
CREATE INDEX lap_corrects ON lap (corrects);
CREATE TRIGGER lap_never_changed BEFORE UPDATE ON lap BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER lap_never_taken_out BEFORE DELETE ON lap BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- What all laps share: turns of the table, and the polish on them.
CREATE TABLE turntable (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES turntable (id),
    told TEXT NOT NULL CHECK (json_valid(told))
) STRICT;
CREATE INDEX turntable_corrects ON turntable (corrects);
CREATE TRIGGER turntable_never_changed BEFORE UPDATE ON turntable BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER turntable_never_taken_out BEFORE DELETE ON turntable BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- What to do next on the lap: what was asked, the facts, and the hashes of its card, picture and predicted map in found.
CREATE TABLE stroke_plan (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES stroke_plan (id),
    face_id INTEGER NOT NULL REFERENCES face (id),
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    told TEXT NOT NULL CHECK (json_valid(told)),
    found TEXT NOT NULL CHECK (json_valid(found)),
    program TEXT NOT NULL
) STRICT;
CREATE INDEX stroke_plan_corrects ON stroke_plan (corrects);
CREATE INDEX stroke_plan_face_id ON stroke_plan (face_id);
CREATE INDEX stroke_plan_reading_id ON stroke_plan (reading_id);
CREATE TRIGGER stroke_plan_never_changed BEFORE UPDATE ON stroke_plan BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER stroke_plan_never_taken_out BEFORE DELETE ON stroke_plan BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;

-- A stroke of a plan, by its number in the plan, and the timer it was begun with.
CREATE TABLE stroke_start (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    corrects INTEGER REFERENCES stroke_start (id),
    plan_id INTEGER NOT NULL REFERENCES stroke_plan (id),
    number INTEGER NOT NULL CHECK (number > 0),
    timer_id INTEGER NOT NULL UNIQUE REFERENCES timer (id)
) STRICT;
CREATE INDEX stroke_start_corrects ON stroke_start (corrects);
CREATE INDEX stroke_start_plan_id ON stroke_start (plan_id);
CREATE TRIGGER stroke_start_never_changed BEFORE UPDATE ON stroke_start BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER stroke_start_never_taken_out BEFORE DELETE ON stroke_start BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END;
