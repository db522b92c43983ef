"""The data in and out: sheets for a spreadsheet, one file of everything, and both read back.

What a run or a car is belongs to its room; copies of the whole database file are made elsewhere.

`exchange` works from the database's own schema: the file of everything (`exchange/document.py`)
holds every table but those in `store.LEFT_OUT`, its pydantic model and the published schema
(`/exchange/everything.schema.json`) are made from `PRAGMA table_info`, and a new table is in all
three without a line of code. What a new table does need is a line in `exchange/readers.py`: the
model by which its room reads a row, or a reason in `PLAIN` (`WHOLES` where rows belong together); a
test fails until it is there. A file of everything and a copy of the database are judged by it
alike, before anything is replaced, and refused when a single row cannot be read;
`exchange/layout.py: row_of` says what any column of a kind may hold. Tables with secrets go into
`LEFT_OUT` by name. The `version` in the file is that of its layout; `schema_version` is the last
migration, and a file of an older one is read with the columns it has, so that a new column needs a
default.
The file of everything is read piece by piece (`exchange/pieces.py`), and its rows, checked one by
one (`exchange/rows.py`), go to a database on disk before they take anybody's place: a large or
hostile file takes little memory.
A text that goes into a sheet passes through `exchange.cells.safe` (OWASP's list of beginnings,
behind every separator), and `unsafe` gives it back exactly. A file that was looked at waits in the
data folder under the digest of its bytes until the racer agrees; what was there before a file of
everything is kept beside it to be put back.
"""
