"""Every formula of the gear train; the text of each stands in the file that it comes from."""

from pitapp.gearing.fit import (
    gaps,
    gear_options,
    longer_change,
    nearest_options,
    next_longer,
    next_shorter,
    shorter_change,
)
from pitapp.gearing.models import FitLimits, Gap, Gear, GearOption, NearOption, Purchase
from pitapp.gearing.purchases import purchases
from pitapp.gearing.train import (
    centre_distance_mm,
    final_drive_ratio,
    module_mm_from_diametral_pitch,
    motor_rpm_at,
    ratio_for_rollout,
    ratio_texts,
    road_speed_kmh,
    rollout_mm,
    shared_tooth_period,
)

__all__ = [
    "FitLimits",
    "Gap",
    "Gear",
    "GearOption",
    "NearOption",
    "Purchase",
    "centre_distance_mm",
    "final_drive_ratio",
    "gaps",
    "gear_options",
    "longer_change",
    "module_mm_from_diametral_pitch",
    "motor_rpm_at",
    "nearest_options",
    "next_longer",
    "next_shorter",
    "purchases",
    "ratio_for_rollout",
    "ratio_texts",
    "road_speed_kmh",
    "rollout_mm",
    "shared_tooth_period",
    "shorter_change",
]
