-- Who may use the pages. Nothing here opens anything by itself: passwords are hashed slowly, and
-- of sessions and tokens, which are long and random, only a SHA-256 is kept.

CREATE TABLE users (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 32),
    folded TEXT NOT NULL UNIQUE,        -- the name without regard to capitals
    role TEXT NOT NULL CHECK (role IN ('looker', 'changer')),
    password TEXT NOT NULL,             -- a hash with its method and costs
    made_utc_s REAL NOT NULL
) STRICT;

CREATE TABLE sessions (
    hash BLOB PRIMARY KEY CHECK (length(hash) = 32),
    user INTEGER NOT NULL REFERENCES users ON DELETE CASCADE,
    begun_utc_s REAL NOT NULL,
    seen_utc_s REAL NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX sessions_by_user ON sessions (user, seen_utc_s);

CREATE TABLE tokens (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 32),
    folded TEXT NOT NULL UNIQUE,
    role TEXT NOT NULL CHECK (role IN ('looker', 'changer')),
    hash BLOB NOT NULL UNIQUE CHECK (length(hash) = 32),
    made_utc_s REAL NOT NULL
) STRICT;

-- One row: what seals the forms of pages that ask nobody for a name.
CREATE TABLE secret (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    bytes BLOB NOT NULL CHECK (length(bytes) = 32)
) STRICT;
