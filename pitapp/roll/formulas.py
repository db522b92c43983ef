"""Will the parked car roll away? A still motor holds by its detent torque and friction alone.

A drag brake gives a torque proportional to speed: it slows a roll and cannot hold a car still.
Park across a slope, wheels against something, and never look away. A longer gear (a lower final
drive ratio) and a weaker rotor both lower the hold angle: do the tilt test again after each.
"""

from pitapp.roll.creep import creep_speed_m_s, roll_distance_m
from pitapp.roll.holding import (
    hold_angle_deg,
    holding_force_n,
    holding_torque_nm,
    tilt_angle_deg,
)

__all__ = [
    "creep_speed_m_s",
    "hold_angle_deg",
    "holding_force_n",
    "holding_torque_nm",
    "roll_distance_m",
    "tilt_angle_deg",
]
