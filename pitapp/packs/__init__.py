"""The packs: charge and storage sums, whether a charge may be started, and the day's charge plan.

Here belongs whatever happens to a pack on the table; what it does in the car is `pitapp.drive`.
Packs burn: the maker's manual and local rules come first.
"""
