-- Days are texts such as 2026-01-31. Shares are 0 to 1, lengths mm; `_low` and `_high` are the ends of the 95 % range.

CREATE TABLE plant (
    id INTEGER PRIMARY KEY,
    number TEXT NOT NULL UNIQUE COLLATE NOCASE,
    name TEXT NOT NULL DEFAULT '',
    mother INTEGER REFERENCES plant (id),
    -- Acquired, or parted from its mother.
    since TEXT,
    notes TEXT NOT NULL DEFAULT '',
    gone_on TEXT,
    gone_how TEXT CHECK (gone_how IN ('sold', 'died', 'given')),
    -- The reading that the plant is known by now: that of its last photo. Kept up with each grading and assignment.
    latest INTEGER REFERENCES reading (id),
    CHECK (mother IS NOT id),
    CHECK ((gone_on IS NULL) = (gone_how IS NULL))
) STRICT;

CREATE TABLE photo (
    id INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL UNIQUE,
    path TEXT NOT NULL,
    taken_at TEXT
) STRICT;

-- One photo, looked at by one version of the program with one set of options.
CREATE TABLE grading (
    id INTEGER PRIMARY KEY,
    photo INTEGER NOT NULL REFERENCES photo (id),
    day TEXT NOT NULL,
    program TEXT NOT NULL,
    standard_hash TEXT NOT NULL,
    settings_hash TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('graded', 'refused')),
    reason TEXT,
    white TEXT,
    scale TEXT,
    -- The photo's whole record without its plants, as in `--jsonl`.
    record TEXT NOT NULL,
    UNIQUE (photo, program, settings_hash)
) STRICT;

-- One plant of one grading: what is asked for often as columns, and its whole record.
CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    grading INTEGER NOT NULL REFERENCES grading (id),
    place INTEGER NOT NULL,
    card TEXT,
    -- Day of the photo.
    day TEXT,
    green_fraction REAL, green_fraction_low REAL, green_fraction_high REAL,
    pale_fraction REAL, pale_fraction_low REAL, pale_fraction_high REAL,
    red_fraction REAL, red_fraction_low REAL, red_fraction_high REAL,
    green_capacity REAL, green_capacity_low REAL, green_capacity_high REAL,
    green_hue_deg REAL, green_hue_deg_low REAL, green_hue_deg_high REAL,
    diameter_mm REAL, diameter_mm_low REAL, diameter_mm_high REAL,
    band_width_mm REAL, band_width_mm_low REAL, band_width_mm_high REAL,
    score REAL, score_low REAL, score_high REAL,
    dead REAL,
    pattern TEXT,
    decision TEXT,
    record TEXT NOT NULL,
    UNIQUE (grading, place)
) STRICT;

-- Which plant a reading is of, or none; the last row counts.
CREATE TABLE assignment (
    id INTEGER PRIMARY KEY,
    reading INTEGER NOT NULL REFERENCES reading (id),
    plant INTEGER REFERENCES plant (id),
    day TEXT NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL DEFAULT ''
) STRICT;

-- What a person decided, beside what the standard advises; the last row counts.
CREATE TABLE decision (
    id INTEGER PRIMARY KEY,
    plant INTEGER NOT NULL REFERENCES plant (id),
    decision TEXT NOT NULL,
    day TEXT NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE INDEX plant_mother ON plant (mother);
CREATE INDEX assignment_reading ON assignment (reading, id);
CREATE INDEX assignment_plant ON assignment (plant);
CREATE INDEX decision_plant ON decision (plant, id);

-- Readings that count: each photo by its last grading, each reading for the plant it was last assigned to.
CREATE VIEW counted AS
SELECT assignment.plant AS plant, grading.photo AS photo, grading.white AS white, grading.scale AS scale, reading.*
FROM assignment
JOIN reading ON reading.id = assignment.reading
JOIN grading ON grading.id = reading.grading
WHERE assignment.plant IS NOT NULL
    AND assignment.id = (SELECT max(id) FROM assignment AS other WHERE other.reading = assignment.reading)
    AND grading.id = (SELECT max(id) FROM grading AS other WHERE other.photo = grading.photo AND other.status = 'graded');

-- `INSERT OR REPLACE` takes the old row out without asking the triggers on DELETE.
CREATE TRIGGER photo_is_new BEFORE INSERT ON photo
WHEN EXISTS (SELECT 1 FROM photo WHERE id = NEW.id OR sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'photos are never replaced'); END;
CREATE TRIGGER grading_is_new BEFORE INSERT ON grading
WHEN EXISTS (SELECT 1 FROM grading WHERE id = NEW.id
    OR (photo = NEW.photo AND program = NEW.program AND settings_hash = NEW.settings_hash))
BEGIN SELECT RAISE(ABORT, 'gradings are never replaced'); END;
CREATE TRIGGER reading_is_new BEFORE INSERT ON reading
WHEN EXISTS (SELECT 1 FROM reading WHERE id = NEW.id OR (grading = NEW.grading AND place = NEW.place))
BEGIN SELECT RAISE(ABORT, 'readings are never replaced'); END;
CREATE TRIGGER assignment_is_new BEFORE INSERT ON assignment WHEN EXISTS (SELECT 1 FROM assignment WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'assignments are never replaced'); END;
CREATE TRIGGER decision_is_new BEFORE INSERT ON decision WHEN EXISTS (SELECT 1 FROM decision WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'decisions are never replaced'); END;

CREATE TRIGGER photo_stays BEFORE DELETE ON photo BEGIN SELECT RAISE(ABORT, 'photos are never taken out'); END;
CREATE TRIGGER photo_is_fixed BEFORE UPDATE OF id, sha256, taken_at ON photo BEGIN SELECT RAISE(ABORT, 'photos are never changed'); END;
CREATE TRIGGER grading_stays BEFORE DELETE ON grading BEGIN SELECT RAISE(ABORT, 'gradings are never taken out'); END;
CREATE TRIGGER grading_is_fixed BEFORE UPDATE ON grading BEGIN SELECT RAISE(ABORT, 'gradings are never changed'); END;
CREATE TRIGGER reading_stays BEFORE DELETE ON reading BEGIN SELECT RAISE(ABORT, 'readings are never taken out'); END;
CREATE TRIGGER reading_is_fixed BEFORE UPDATE ON reading BEGIN SELECT RAISE(ABORT, 'readings are never changed'); END;
CREATE TRIGGER assignment_stays BEFORE DELETE ON assignment BEGIN SELECT RAISE(ABORT, 'assignments are never taken out'); END;
CREATE TRIGGER assignment_is_fixed BEFORE UPDATE ON assignment BEGIN SELECT RAISE(ABORT, 'assignments are never changed'); END;
CREATE TRIGGER decision_stays BEFORE DELETE ON decision BEGIN SELECT RAISE(ABORT, 'decisions are never taken out'); END;
CREATE TRIGGER decision_is_fixed BEFORE UPDATE ON decision BEGIN SELECT RAISE(ABORT, 'decisions are never changed'); END;
