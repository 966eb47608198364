-- An earlier grading of a photo counts again, from when `newest` was the photo's newest one until there is a newer; the last row counts.
CREATE TABLE recall (
    id INTEGER PRIMARY KEY,
    grading INTEGER NOT NULL REFERENCES grading (id),
    newest INTEGER NOT NULL REFERENCES grading (id),
    day TEXT NOT NULL
) STRICT;

CREATE INDEX recall_grading ON recall (grading);
-- Without it each new reading of an import is looked for in all plants.
CREATE INDEX plant_latest ON plant (latest);

CREATE TRIGGER recall_is_new BEFORE INSERT ON recall WHEN EXISTS (SELECT 1 FROM recall WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'recalls are never replaced'); END;
CREATE TRIGGER recall_stays BEFORE DELETE ON recall BEGIN SELECT RAISE(ABORT, 'recalls are never taken out'); END;
CREATE TRIGGER recall_is_fixed BEFORE UPDATE ON recall BEGIN SELECT RAISE(ABORT, 'recalls are never changed'); END;

-- Which grading of a photo counts: the last that came or was recalled, of those that were not refused.
CREATE VIEW counting AS
SELECT photo.id AS photo, (
    SELECT grading.id FROM grading LEFT JOIN recall ON recall.grading = grading.id
    WHERE grading.photo = photo.id AND grading.status = 'graded'
    ORDER BY max(grading.id, coalesce(recall.newest, 0)) DESC, recall.id DESC LIMIT 1
) AS grading
FROM photo;

-- Readings that count: each photo by the grading that counts, each reading for the plant it was last assigned to.
DROP VIEW counted;
CREATE VIEW counted AS
SELECT assignment.plant AS plant, grading.photo AS photo, grading.white AS white, grading.scale AS scale, reading.*
FROM assignment
JOIN reading ON reading.id = assignment.reading
JOIN grading ON grading.id = reading.grading
WHERE assignment.plant IS NOT NULL
    AND assignment.id = (SELECT max(id) FROM assignment AS other WHERE other.reading = assignment.reading)
    AND grading.id = (SELECT counting.grading FROM counting WHERE counting.photo = grading.photo);
