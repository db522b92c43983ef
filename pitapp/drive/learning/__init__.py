"""What logged runs teach: how the can warms, how lap time goes with the gear, what a run takes.

Robust fits with what is believed beforehand, in plain Python. The physics that they start from is
in the drive model, the choice of a gear in `ranking`.
"""
