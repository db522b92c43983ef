"""The car's leads by gauge and length, and what they weigh and lose.

The sums on one wire are `pitapp.kit.formulas`; here they are added up for a car.
"""
