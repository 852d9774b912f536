-- An exam as its first line tells it; `standing` is the hash of the version that counts.
CREATE TABLE exam (
    id TEXT NOT NULL PRIMARY KEY,
    started_at TEXT NOT NULL,
    horse_name TEXT NOT NULL,
    horse_folded TEXT NOT NULL,
    horse_id TEXT NOT NULL,
    person TEXT NOT NULL,
    standing TEXT NOT NULL
);
CREATE INDEX exam_of_name ON exam (horse_folded, started_at);
CREATE INDEX exam_of_number ON exam (horse_id, started_at);
CREATE INDEX exam_by_start ON exam (started_at);

-- What was known of it when it was filed: the hash of the journal's last line names the version.
CREATE TABLE version (
    exam_id TEXT NOT NULL REFERENCES exam (id),
    hash TEXT NOT NULL,
    lines BIGINT NOT NULL,
    filed_at TEXT NOT NULL,
    folder TEXT NOT NULL,
    to_look_at BIGINT NOT NULL,
    record TEXT NOT NULL,
    PRIMARY KEY (exam_id, hash)
);

-- What was seen and measured, of the version that counts, to be searched.
CREATE TABLE seen (
    exam_id TEXT NOT NULL REFERENCES exam (id),
    limb TEXT NOT NULL,
    zone TEXT NOT NULL,
    structure TEXT NOT NULL,
    term TEXT NOT NULL,
    what TEXT NOT NULL
);
CREATE INDEX seen_by_term ON seen (term, structure, zone, limb);
CREATE INDEX seen_by_place ON seen (structure, zone, limb);
CREATE INDEX seen_of_exam ON seen (exam_id);
