"""A meeting as an iCalendar file, for the calendar of a phone, which rings when this app is closed.

What happens when belongs to the timetable and to the charge plan; nothing is kept here.
"""
