"""A charge by steps: what is asked before it, its record, and the countdown while it runs.

Its cautions are firm steps of the checks engine, which judges the answers and says where to go on;
the answers keep a table of their own, as they belong to a charge and to no list that can be changed.
The countdown is a due time in the database and nothing else; no code here watches a pack.
"""
