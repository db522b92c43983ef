"""The data in and out: sheets for a spreadsheet, one file of everything, and both read back.

What a run or a car is belongs to its room; copies of the whole database file are made elsewhere.
"""
