-- The raw facts, and three thinnings of them kept in the same transaction.
--
-- A temperature is an integer: thousandths of a kelvin above 20 °C, so that everything from
-- -12.7 to +52.7 °C needs two bytes. What changes rarely (phase, vetoes, relays, permits) stands
-- once in `states`, and a tick names its row there; that keeps a tick near thirty bytes.
-- Times of ticks are whole seconds UTC; those of events and of what people typed are exact.

CREATE TABLE chambers (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    presence TEXT                       -- the newest presence message, as one wire line
) STRICT;

CREATE TABLE boots (
    id INTEGER PRIMARY KEY,
    chamber INTEGER NOT NULL REFERENCES chambers,
    name TEXT NOT NULL,
    through INTEGER NOT NULL DEFAULT 0, -- every line from 1 up to this one is here
    heard_utc_s REAL NOT NULL,          -- by the dashboard's clock
    UNIQUE (chamber, name)
) STRICT;

-- Lines that came before one of their predecessors: the ranges held beyond `boots.through`.
CREATE TABLE ranges (
    boot INTEGER NOT NULL REFERENCES boots,
    first INTEGER NOT NULL,
    last INTEGER NOT NULL CHECK (last >= first),
    PRIMARY KEY (boot, first)
) STRICT, WITHOUT ROWID;

CREATE TABLE states (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL REFERENCES boots,
    heat INTEGER NOT NULL CHECK (heat IN (0, 1)),
    fan INTEGER NOT NULL CHECK (fan IN (0, 1)),
    body TEXT NOT NULL,                 -- JSON: the tick's fields that change rarely
    UNIQUE (boot, heat, fan, body)
) STRICT;

CREATE TABLE ticks (
    chamber INTEGER NOT NULL,
    utc_s INTEGER NOT NULL,
    state INTEGER NOT NULL,             -- which also names the boot
    seq INTEGER NOT NULL,
    beer INTEGER,
    garage INTEGER,
    target INTEGER,
    pad INTEGER,
    air INTEGER,
    demand INTEGER NOT NULL,            -- thousandths, -1000 to 1000
    PRIMARY KEY (chamber, utc_s, state, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
    chamber INTEGER NOT NULL REFERENCES chambers,
    utc_s REAL NOT NULL,
    boot INTEGER NOT NULL REFERENCES boots,
    seq INTEGER NOT NULL,
    line TEXT NOT NULL,                 -- the event, as one wire line
    PRIMARY KEY (chamber, utc_s, boot, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE minutes (
    chamber INTEGER NOT NULL,
    start_s INTEGER NOT NULL,
    ticks INTEGER NOT NULL,
    heat INTEGER NOT NULL,              -- ticks with the pad on
    fan INTEGER NOT NULL,
    beer_count INTEGER NOT NULL,
    beer_sum INTEGER NOT NULL,
    beer_low INTEGER,
    beer_high INTEGER,
    garage_count INTEGER NOT NULL,
    garage_sum INTEGER NOT NULL,
    target_count INTEGER NOT NULL,
    target_sum INTEGER NOT NULL,
    PRIMARY KEY (chamber, start_s)
) STRICT, WITHOUT ROWID;

CREATE TABLE tens (
    chamber INTEGER NOT NULL,
    start_s INTEGER NOT NULL,
    ticks INTEGER NOT NULL,
    heat INTEGER NOT NULL,
    fan INTEGER NOT NULL,
    beer_count INTEGER NOT NULL,
    beer_sum INTEGER NOT NULL,
    beer_low INTEGER,
    beer_high INTEGER,
    garage_count INTEGER NOT NULL,
    garage_sum INTEGER NOT NULL,
    target_count INTEGER NOT NULL,
    target_sum INTEGER NOT NULL,
    PRIMARY KEY (chamber, start_s)
) STRICT, WITHOUT ROWID;

CREATE TABLE hours (
    chamber INTEGER NOT NULL,
    start_s INTEGER NOT NULL,
    ticks INTEGER NOT NULL,
    heat INTEGER NOT NULL,
    fan INTEGER NOT NULL,
    beer_count INTEGER NOT NULL,
    beer_sum INTEGER NOT NULL,
    beer_low INTEGER,
    beer_high INTEGER,
    garage_count INTEGER NOT NULL,
    garage_sum INTEGER NOT NULL,
    target_count INTEGER NOT NULL,
    target_sum INTEGER NOT NULL,
    PRIMARY KEY (chamber, start_s)
) STRICT, WITHOUT ROWID;

CREATE TABLE batches (
    id INTEGER PRIMARY KEY,
    chamber INTEGER NOT NULL REFERENCES chambers,
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
    pitched_utc_s REAL NOT NULL,
    original_sg REAL NOT NULL CHECK (original_sg BETWEEN 0.9 AND 1.3),
    expected_final_sg REAL NOT NULL CHECK (expected_final_sg BETWEEN 0.9 AND 1.3),
    volume_l REAL NOT NULL CHECK (volume_l > 0),
    strain TEXT NOT NULL CHECK (length(strain) <= 200),
    ended_utc_s REAL CHECK (ended_utc_s >= pitched_utc_s)
) STRICT;
CREATE INDEX batches_by_chamber ON batches (chamber, pitched_utc_s);

CREATE TABLE gravities (
    id INTEGER PRIMARY KEY,
    batch INTEGER NOT NULL REFERENCES batches,
    taken_utc_s REAL NOT NULL,
    entered REAL NOT NULL CHECK (entered BETWEEN -10 AND 100),
    unit TEXT NOT NULL CHECK (unit IN ('sg', 'plato')),
    sample_c REAL NOT NULL CHECK (sample_c BETWEEN -10 AND 110),
    calibrated_c REAL NOT NULL CHECK (calibrated_c BETWEEN 0 AND 50),
    note TEXT NOT NULL CHECK (length(note) <= 2000)
) STRICT;
CREATE INDEX gravities_by_batch ON gravities (batch, taken_utc_s);
