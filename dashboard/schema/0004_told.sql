-- Being told: what happened, what became of it, and the messages on their way.

-- Events not looked at yet for being told. Filled with the event itself, so that none is missed.
CREATE TABLE unheeded (
    id INTEGER PRIMARY KEY,
    line TEXT NOT NULL
) STRICT;
CREATE TRIGGER heed_events AFTER INSERT ON events BEGIN
    INSERT INTO unheeded (line) VALUES (NEW.line);
END;

CREATE TABLE messages (
    id INTEGER PRIMARY KEY,
    made_utc_s REAL NOT NULL,           -- by the dashboard's clock, as every time here but one
    priority TEXT NOT NULL CHECK (priority IN ('high', 'medium', 'low')),
    subject TEXT NOT NULL,
    text TEXT NOT NULL,
    link TEXT NOT NULL,
    is_flood INTEGER NOT NULL CHECK (is_flood IN (0, 1))
) STRICT;
CREATE INDEX messages_by_time ON messages (made_utc_s);

CREATE TABLE news (
    id INTEGER PRIMARY KEY,
    origin TEXT NOT NULL UNIQUE,
    thing TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('raised', 'cleared', 'quieted')),
    true_utc_s REAL NOT NULL,           -- when it became so, by whoever knows it
    noticed_utc_s REAL NOT NULL,
    priority TEXT NOT NULL CHECK (priority IN ('high', 'medium', 'low')),
    text TEXT NOT NULL,
    remedy TEXT NOT NULL,
    chamber TEXT,                       -- NULL: the dashboard itself
    says_over INTEGER NOT NULL CHECK (says_over IN (0, 1)),
    outcome TEXT,                       -- NULL: not settled yet
    message INTEGER REFERENCES messages ON DELETE SET NULL
) STRICT;
CREATE INDEX news_waiting ON news (id) WHERE outcome IS NULL;
CREATE INDEX news_by_thing ON news (thing, id);

CREATE TABLE deliveries (
    message INTEGER NOT NULL REFERENCES messages ON DELETE CASCADE,
    target TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'delivered', 'refused', 'given up')),
    tries INTEGER NOT NULL DEFAULT 0,
    next_utc_s REAL NOT NULL,
    begun_utc_s REAL,                   -- set while it is being sent
    ended_utc_s REAL,
    error TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (message, target)
) STRICT, WITHOUT ROWID;
CREATE INDEX deliveries_waiting ON deliveries (target, message) WHERE state = 'waiting';
