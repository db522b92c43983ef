"""Safe copies of the whole database: made, examined, kept, brought back.

What a copy holds is everything that SQLite stores; taking single rooms in and out as CSV or JSON
belongs to `exchange`.
"""
