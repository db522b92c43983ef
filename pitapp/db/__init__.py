"""The database: connections, migrations, undo steps and the one table of settings.

What every room shares about SQLite belongs here. A room's own tables are read and written in
that room's `store.py`, and nowhere else.

- `pitapp.db`: `get_db()`, `transaction(connection)`, `to_db(moment)` → text, `from_db(text)` → moment;
  `db.settings.read/save`.
- `pitapp.db.undo.step(connection, "Removed …", now)` → `step.insert save change remove delete`
  change a row and note it; by hand: `step.record_before(table, id)` before a change or deletion,
  `step.record_insert(table, id)` after an insert. `step.token` is for the undo bar. Every table has
  an integer `id`. Things that others refer to are not deleted but get `removed_at`. Undoing is
  refused, with the reason, where a row would lose what it belongs to (`db/references.py` knows also
  what the schema does not declare, and a noun for each table).
- `pitapp.db.records`: what most stores do with a table: `listed by_id add save remove`, each change
  with its step; `columns(record)` is what a table holds of a record.
- `pitapp.db.pages`: `newest(...)` reads a page of a long list, `split_page` says where the next
  begins.

`pitapp/db/migrations/NNNN_name.sql`, applied in order, each in one transaction, `PRAGMA
user_version` its number. `STRICT` tables. A file that has been released is never edited. Before the
first of them a copy goes to `copies/`.

What goes wrong beneath it (full, shut, held, damaged, gone) becomes a sentence in `db/faults.py`; a
form that met it comes back with a button that sends the same fields and the same key again
(`web/http/error_pages.py`). `Database.connection()` looks each time whether the file is still the
one that was opened: what is written to a deleted one is lost. Days and moments have one range (2000
to 2200) and one way to be written and read, `pitapp/dates.py`: types `Day` and `Moment` in models,
`DayField` and `MomentField` (`web/forms/datetime_field.py`) in forms, `read_wall_clock` and
`moment_at` for what is typed; `tests/test_proof_dates.py` posts edge years to every such field that
a page shows. One server holds a folder (`web/instance_lock.py`: an OS lock, nothing to clear after
a kill); `create_app()` asks for no lock. A copy is brought back table by table in the same
transaction in which what was there is copied; the tables in `copies/store.py: HERE_ONLY` stay as
they are. Of a write with a key the key is kept for ever, since nobody knows what a phone in a
drawer still holds (some 70 bytes each), its answer for 60 days, and steps back by number and size
(`db/idempotency.py`, `db/undo.py`). A copy is written beside its place under a lock and never over
anything but a copy (`copies/target.py`). A copy and the file of everything carry the keys of the
writes whose rows they hold, and never an answer or a step back (`db/idempotency.py`): after a
restore exactly these keys are known, and a write that comes again with one is answered with a plain
"Saved".

Each database has a random identity (`db/identity.py`), which no copy replaces; a copy and the file
of everything carry it as their origin, and a database remembers the origins of what it holds.
`web/http/identity.py` names it on every answer (`Pitapp-Database`) and refuses with 412 whatever
was meant for another one: a page sends its own along (the header by htmx, else the field
`made_for`). A data folder that was copied by hand has the identity of the first.
"""

from pitapp.dates import from_db, to_db
from pitapp.db.connect import Database, get_db, transaction

__all__ = ["Database", "from_db", "get_db", "to_db", "transaction"]
