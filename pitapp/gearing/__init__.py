"""The gear train from motor to wheel: ratio, rollout, speed, pairs that fit, gears to buy.

What the gears do to lap time and heat belongs to `drive` and `heat`; which gears a racer owns,
to `kit`.
"""
