"""The scrutineering card: the lines that an official asks for, on one screen and one printed page.

It reads what the run-throughs, the kit and the bench hold, and keeps nothing of its own.
"""
