"""The scales: parts weighed one by one, and the car on four scales.

Here belong the total against the class's least weight, the corner weights over time, and what
moving a part does. The sums are `pitapp.kit.formulas`.
"""
