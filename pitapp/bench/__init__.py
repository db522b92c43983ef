"""The bench: a motor measured free-running, over time.

Here belong the checks, what they mean beside the motor when new, the class and the racer's other
motors. The sums of a motor are `pitapp.motor`; the motor's record is `pitapp.kit`.
"""
