"""A meeting on one page: what ran, what was changed, what came of it, to print or to pass on.

It only reads; what is private (remarks) goes along only where it is asked for.
"""
