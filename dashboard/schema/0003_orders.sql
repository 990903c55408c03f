-- What chambers were asked to do, and what they answered.

CREATE TABLE orders (
    id TEXT PRIMARY KEY,
    chamber INTEGER NOT NULL REFERENCES chambers,
    utc_s REAL NOT NULL,                -- given, by the dashboard's clock
    line TEXT NOT NULL,                 -- the order, as one wire line
    reply TEXT                          -- the answer, as one wire line; NULL: none came yet
) STRICT, WITHOUT ROWID;
CREATE INDEX orders_by_chamber ON orders (chamber, utc_s);
