"""A pack's condition: how full it is, fit to race or not and why, and its readings over time.

Whether a charge may be started is `packs.safety`.
"""
