"""The packs: charge and storage sums, whether a charge may be started, and the day's charge plan.

Here belongs whatever happens to a pack on the table. What it does in the car is `pitapp.drive`;
how hot the motor gets is `pitapp.heat`. Packs burn: the maker's manual and local rules come first.
"""
