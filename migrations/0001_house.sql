-- The house: fixtures, their documents, and everything that was ever changed about them.
-- Times are Unix milliseconds (UTC). A slot is fixture.key * 8 + paper (0 fixture, 1 desired, 2 reported).

CREATE TABLE fixture (
    key         INTEGER PRIMARY KEY,
    id          TEXT    NOT NULL,
    created     INTEGER NOT NULL,
    deleted     INTEGER,
    secret      BLOB,            -- keyed hash, never the secret
    enrolled    INTEGER,
    broker_line TEXT             -- this fixture's line of an external broker's password file (a salted hash)
) STRICT;
CREATE UNIQUE INDEX fixture_by_id ON fixture (id) WHERE deleted IS NULL;

CREATE TABLE document (
    slot     INTEGER PRIMARY KEY,
    revision INTEGER NOT NULL,
    drift    INTEGER NOT NULL,   -- changes of volatile members since that revision
    at       INTEGER NOT NULL,
    head     INTEGER,            -- the history row that made this revision
    body     TEXT    NOT NULL
) STRICT;

-- Append-only. `prev` is the row before of the same slot, so that one document's past is a chain: no index is kept
-- beside it, since an index here costs a third to a half of the rate of edits.
CREATE TABLE history (
    id       INTEGER PRIMARY KEY,
    slot     INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    at       INTEGER NOT NULL,
    by       TEXT    NOT NULL,
    via      TEXT    NOT NULL,
    cause    TEXT,
    patch    TEXT    NOT NULL,   -- merge patch from the revision before; null when the fixture was taken away
    inverse  TEXT    NOT NULL,   -- merge patch back to it
    prev     INTEGER
) STRICT;

-- A whole document every 64 revisions, from which the states in between are walked.
CREATE TABLE snapshot (
    slot     INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    at       INTEGER NOT NULL,
    history  INTEGER NOT NULL,
    body     TEXT    NOT NULL,
    PRIMARY KEY (slot, revision)
) STRICT, WITHOUT ROWID;
CREATE INDEX snapshot_by_time ON snapshot (slot, at);

CREATE TABLE life (
    fixture     INTEGER PRIMARY KEY,
    applied     INTEGER NOT NULL,
    applied_at  INTEGER,
    heard       INTEGER,
    alive       INTEGER,
    alive_at    INTEGER,
    boot        TEXT,            -- the last boot as JSON
    boots_heard INTEGER NOT NULL,
    fresh       INTEGER NOT NULL, -- booted with nothing since its last report
    doubted     INTEGER NOT NULL, -- the house was restored since it last held nothing
    wish_n      INTEGER,
    event_n     INTEGER,
    count       INTEGER NOT NULL
) STRICT;

CREATE TABLE boot (
    id       INTEGER PRIMARY KEY,
    fixture  INTEGER NOT NULL,
    at       INTEGER NOT NULL,
    reason   TEXT    NOT NULL,
    have     INTEGER NOT NULL,
    firmware TEXT,
    boots    INTEGER,
    rssi     INTEGER
) STRICT;

CREATE TABLE event (
    id      INTEGER PRIMARY KEY,
    fixture INTEGER NOT NULL,
    at      INTEGER NOT NULL,
    event   TEXT    NOT NULL,
    n       INTEGER NOT NULL
) STRICT;

-- What has to be published and was not yet acknowledged by the broker; the latest per fixture wins.
CREATE TABLE outbox (
    fixture INTEGER PRIMARY KEY,
    ticket  INTEGER NOT NULL     -- the history row that asked for it; a row is cleared only under its own ticket
) STRICT;

CREATE TABLE token (
    id      INTEGER PRIMARY KEY,
    name    TEXT    NOT NULL UNIQUE,
    scope   TEXT    NOT NULL,
    hash    BLOB    NOT NULL,    -- keyed hash, never the token
    created INTEGER NOT NULL
) STRICT;

-- Requests made with an Idempotency-Key, for a day.
CREATE TABLE request (
    key         TEXT    PRIMARY KEY,
    fingerprint BLOB    NOT NULL,
    at          INTEGER NOT NULL,
    answer      TEXT             -- NULL when it held a secret
) STRICT, WITHOUT ROWID;

CREATE TABLE setting (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
