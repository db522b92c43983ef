-- Which database this is (row 1, random), and of which others it holds a copy (the other rows, the nearest first).
CREATE TABLE identities (
    id INTEGER PRIMARY KEY,
    identity TEXT NOT NULL UNIQUE CHECK (length(identity) = 32)
) STRICT;

INSERT INTO identities (id, identity) VALUES (1, lower(hex(randomblob(16))));
