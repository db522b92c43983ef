"""The database: connections, migrations, undo steps and the one table of settings.

What every room shares about SQLite belongs here. A room's own tables are read and written in
that room's `store.py`, and nowhere else.
"""

from pitapp.dates import stamp, when
from pitapp.db.connect import Database, get_db, transaction

__all__ = ["Database", "get_db", "stamp", "transaction", "when"]
