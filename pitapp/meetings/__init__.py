"""The rules raced under, the meetings and their timetables.

A class says what is legal, a meeting says where and when and with which car, and its heats are
the day's timetable, marshalling included. What the car did in a heat belongs to the runs.
"""
