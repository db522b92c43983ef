-- Other devices that were let in; the cookie's token is kept as its hash only.
CREATE TABLE devices (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    token_hash TEXT NOT NULL UNIQUE,
    address TEXT NOT NULL DEFAULT '',
    paired_at TEXT NOT NULL,
    last_seen_at TEXT NOT NULL,
    removed_at TEXT
) STRICT;

CREATE TABLE pairing_codes (
    id INTEGER PRIMARY KEY,
    code TEXT NOT NULL,
    made_at TEXT NOT NULL,
    expires_at TEXT NOT NULL,
    used_at TEXT
) STRICT;

CREATE TABLE wrong_guesses (
    id INTEGER PRIMARY KEY,
    address TEXT NOT NULL,
    guessed_at TEXT NOT NULL
) STRICT;

CREATE INDEX wrong_guesses_by_time ON wrong_guesses (guessed_at);
