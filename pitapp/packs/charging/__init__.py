"""A charge by steps: what is asked before it, its record, and the countdown while it runs.

The countdown is a due time in the database and nothing else; no code here watches a pack.
"""
