-- What a brewer means to do with a batch, what was ticked off, and the ferments' own heat by hour.

CREATE TABLE plans (
    batch INTEGER PRIMARY KEY REFERENCES batches,
    is_dry_hopped INTEGER NOT NULL CHECK (is_dry_hopped IN (0, 1)),
    hop_limit_h REAL NOT NULL CHECK (hop_limit_h BETWEEN 1 AND 720),
    forced_sg REAL CHECK (forced_sg BETWEEN 0.9 AND 1.3)
) STRICT;

CREATE TABLE settled (
    batch INTEGER NOT NULL REFERENCES batches,
    item TEXT NOT NULL CHECK (length(item) BETWEEN 1 AND 80),
    how TEXT NOT NULL CHECK (how IN ('done', 'skipped')),
    title TEXT NOT NULL CHECK (length(title) <= 200),
    utc_s REAL NOT NULL,
    who TEXT NOT NULL CHECK (length(who) <= 200),
    PRIMARY KEY (batch, item)
) STRICT, WITHOUT ROWID;

-- Sums over the ticks of an hour in which the controller could tell the ferment's own watts.
CREATE TABLE ferment_heat (
    chamber INTEGER NOT NULL,
    start_s INTEGER NOT NULL,
    count INTEGER NOT NULL,
    watts_sum REAL NOT NULL,
    sd_sum REAL NOT NULL,
    PRIMARY KEY (chamber, start_s)
) STRICT, WITHOUT ROWID;
