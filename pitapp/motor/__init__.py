"""What a motor is, from a few bench figures: speed, torque, power, heat in its winding, timing.

How a car drives with it belongs to `drive`; the log of bench visits, to `bench`.
"""
