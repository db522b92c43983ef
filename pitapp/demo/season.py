"""The invented driver's kit."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta

from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.kit.teeth import parse_teeth


def write(connection: sqlite3.Connection, now: datetime) -> None:
    """Write the season, ending about `now`."""
    motor_id, _ = kit.save_motor(
        connection,
        Motor(
            name="Spec 2460",
            kv_rpm_per_v=2460,
            winding="one of the class",
            resistance_ohm=0.021,
            no_load_current_a=2.4,
            mass_g=165,
            remarks="Invented.",
        ),
        now,
    )
    car_id, _ = kit.save_car(
        connection,
        Car(
            name="Heron TC",
            internal_ratio=1.9,
            pitch="dp:64",
            tyre_diameter_mm=63.0,
            motor_id=motor_id,
            pack_v=7.4,
            rev_limit_rpm=15000,
            least_tooth_sum=106,
            most_tooth_sum=126,
            largest_pinion=54,
            smallest_spur=60,
            largest_spur=88,
            mass_g=1330,
            remarks="Invented.",
        ),
        now,
    )
    kit.choose_car(connection, car_id)
    kit.add_gears(connection, "pinion", "dp:64", parse_teeth("38-50"), now)
    kit.add_gears(connection, "spur", "dp:64", parse_teeth("64, 66, 69, 72, 74"), now)
    car = kit.car(connection, car_id)
    for days, pinion, spur in ((21, 42, 69), (20, 43, 69), (7, 45, 69), (6, 45, 66)):
        gearing.fit(connection, car, pinion, spur, now - timedelta(days=days, hours=3))
