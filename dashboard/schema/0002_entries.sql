-- What is written of a batch beside its gravities, and the history of both.

CREATE TABLE notes (
    id INTEGER PRIMARY KEY,
    batch INTEGER NOT NULL REFERENCES batches,
    at_utc_s REAL NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN
        ('dry-hop-in', 'dry-hop-out', 'pitch', 'oxygen', 'nutrient', 'tasting', 'note')),
    text TEXT NOT NULL CHECK (length(text) <= 2000),
    struck INTEGER NOT NULL DEFAULT 0 CHECK (struck IN (0, 1))
) STRICT;
CREATE INDEX notes_by_batch ON notes (batch, at_utc_s);

ALTER TABLE gravities ADD COLUMN struck INTEGER NOT NULL DEFAULT 0 CHECK (struck IN (0, 1));

CREATE TABLE changes (
    id INTEGER PRIMARY KEY,
    batch INTEGER NOT NULL REFERENCES batches,
    kind TEXT NOT NULL CHECK (kind IN ('gravity', 'note')),
    entry INTEGER NOT NULL,
    utc_s REAL NOT NULL,                -- by the dashboard's clock
    who TEXT NOT NULL CHECK (length(who) <= 200),
    did TEXT NOT NULL CHECK (did IN ('written', 'changed', 'struck', 'undone')),
    before TEXT,                        -- the entry as it stood before, as JSON; NULL: not there
    undoes INTEGER UNIQUE REFERENCES changes
) STRICT;
CREATE INDEX changes_by_batch ON changes (batch, id);
