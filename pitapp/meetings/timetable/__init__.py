"""The heats of a meeting: its timetable, kept right as the day runs late.

Which meeting is on, and its date and place, stand one folder up.
"""
