"""Handed out: a class, a track, a timetable, a set-up or a gear slip as a link, a square or a small file.

What is handed out stands in the link itself, behind its `#`, which a browser sends to no server; so
it is made and taken with no network. `models` says what it may hold (no id, no remarks, nothing of a
run), `link` packs it into text and reads any text back, `giving` makes it of what is on record, and
`taking` compares it with what is here and puts it in, within one undo step. Whatever is pasted,
photographed or chosen as a file is looked at before anything is written.
"""
