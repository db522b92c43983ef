"""The invented season: cars, tracks, classes and meetings. Nobody and nothing in it exists."""

from __future__ import annotations

from typing import NamedTuple

from pitapp.drive import models as drive
from pitapp.kit.leads.models import Lead
from pitapp.kit.models import Car, Motor
from pitapp.meetings.models import ClassLimit, HeatKind, RaceClass
from pitapp.packs.models import ChargerRecord
from pitapp.tracks.models import Straight, Track


class Machine(NamedTuple):
    """A car as it truly is, which the racer never sees: the drive model's figures, and its heating."""

    car: drive.Car
    motor: drive.Motor
    rev_limit_rpm: float | None
    run_length_s: float
    thermal_resistance_k_per_w: float
    time_constant_s: float


class Day(NamedTuple):
    """A meeting: how long ago, where, in what, the gear of each outing, and the weather."""

    days_ago: int
    track: str
    car: str
    race_class: str
    name: str
    gears: tuple[tuple[int, int], ...]
    air_c: tuple[float, float]
    remarks: str = ""


MACHINES = {
    "Invented TC": Machine(
        drive.Car(mass_kg=1.312, tyre_diameter_mm=63),
        drive.Motor(kv_rpm_per_v=2380, resistance_ohm=0.021, no_load_current_a=2.4),
        14_600,
        300,
        4.2,
        260,
    ),
    "Invented Compact": Machine(
        drive.Car(mass_kg=1.35, tyre_diameter_mm=58, grip=1.0),
        drive.Motor(kv_rpm_per_v=3100, resistance_ohm=0.038, no_load_current_a=1.4),
        None,
        300,
        5.0,
        240,
    ),
}

MOTORS = {
    "Invented TC": Motor(
        name="Spec 2380",
        kv_rpm_per_v=2380,
        winding="as handed out (invented)",
        resistance_ohm=0.021,
        no_load_current_a=2.4,
        mass_g=165,
        remarks="Invented.",
    ),
    "Invented Compact": Motor(
        name="Open 3100", kv_rpm_per_v=3100, resistance_ohm=0.038, mass_g=158, remarks="Invented."
    ),
}

CARS = {
    "Invented TC": Car(
        name="Invented TC",
        internal_ratio=1.9,
        pitch="dp:64",
        tyre_diameter_mm=63.0,
        pack_v=7.4,
        rev_limit_rpm=14_600,
        least_tooth_sum=106,
        most_tooth_sum=126,
        largest_pinion=54,
        smallest_spur=60,
        largest_spur=88,
        mass_g=1312,
        remarks="Invented.",
    ),
    "Invented Compact": Car(
        name="Invented Compact",
        internal_ratio=2.0,
        pitch="dp:64",
        tyre_diameter_mm=58.0,
        pack_v=7.4,
        least_tooth_sum=92,
        most_tooth_sum=112,
        mass_g=1350,
        remarks="Invented.",
    ),
}
PARTS = (
    ("Body, painted", 84.0),
    ("Servo", 41.5),
    ("Pack", 289.0),
    ("Controller with leads", 62.0),
    ("Lead under the pack", 25.0),
)
LEADS = (
    Lead(car_id=0, name="Pack to controller", kind="pair", awg=13, length_mm=90),
    Lead(car_id=0, name="Controller to motor", kind="motor", awg=13, length_mm=70),
)
PINIONS, SPURS = "27, 29-35, 38-50", "64, 66, 69, 70, 72, 74"

TRACKS = (
    Track(
        name="Mossy Hollow",
        surface="asphalt",
        lap_length_m=248,
        straights=(
            Straight(length_m=52, entry_kmh=44, exit_kmh=31),
            Straight(length_m=24, entry_kmh=31, exit_kmh=38),
            Straight(length_m=31, entry_kmh=38, exit_kmh=44),
        ),
        remarks="Invented. Bumps before the hairpin.",
    ),
    Track(
        name="Old Granary",
        surface="carpet",
        lap_length_m=96,
        straights=(
            Straight(length_m=22, entry_kmh=31, exit_kmh=24),
            Straight(length_m=15, entry_kmh=24, exit_kmh=28),
            Straight(length_m=13, entry_kmh=28, exit_kmh=31),
        ),
        remarks="Invented. Indoors.",
    ),
    Track(
        name="Long Meadow",
        surface="asphalt",
        lap_length_m=330,
        straights=(
            Straight(length_m=78, entry_kmh=48, exit_kmh=36),
            Straight(length_m=38, entry_kmh=36, exit_kmh=42),
            Straight(length_m=27, entry_kmh=42, exit_kmh=48),
        ),
        remarks="Invented.",
    ),
)

CLASSES = (
    RaceClass(
        name="Limited touring",
        rev_limit_rpm=14_600,
        timing_fixed=True,
        timing_deg=36,
        timing_tolerance_deg=2,
        winding="as handed out (invented)",
        least_mass_g=1305,
        most_capacity_mah=6500,
        most_start_v=8.40,
        tyre="control rubber",
        least_ride_height_mm=4.8,
        run_length_s=300,
        heats_a_day=4,
        limits=(ClassLimit(name="Wing chord", unit="mm", most=40),),
        remarks="Invented rules.",
    ),
    RaceClass(
        name="Open compact",
        least_mass_g=1300,
        run_length_s=300,
        heats_a_day=4,
        remarks="Invented rules.",
    ),
)

KINDS: tuple[HeatKind, ...] = ("practice", "practice", "heat", "heat", "heat", "heat", "final")
TC, COMPACT = "Invented TC", "Invented Compact"
LIMITED, OPEN = "Limited touring", "Open compact"
SEASON = (
    Day(168, "Mossy Hollow", TC, LIMITED, "Opener",
        ((42, 69), (43, 69), (43, 69), (44, 69), (44, 69), (45, 69), (45, 69)), (9, 15)),
    Day(140, "Old Granary", COMPACT, OPEN, "Indoor evening",
        ((29, 72), (31, 72), (31, 72), (33, 72), (33, 70), (33, 70), (34, 70)), (19, 21)),
    Day(119, "Long Meadow", TC, LIMITED, "Meadow round",
        ((44, 69), (45, 69), (46, 69), (46, 66), (46, 66), (47, 66), (46, 66)), (16, 24),
        "Hot in the afternoon."),
    Day(91, "Mossy Hollow", COMPACT, OPEN, "Evening round",
        ((31, 72), (31, 72), (33, 72), (33, 70), (34, 70), (34, 70), (33, 70)), (22, 29)),
    Day(63, "Old Granary", TC, "", "Practice and fun",
        ((40, 72), (42, 72), (42, 72), (43, 72), (43, 69), (43, 69), (43, 69)), (23, 25),
        "No class: everybody ran what they had."),
    Day(35, "Mossy Hollow", TC, LIMITED, "Hollow round",
        ((45, 69), (45, 66), (45, 66), (46, 66), (47, 66), (48, 66), (46, 66)), (20, 30)),
    Day(14, "Long Meadow", COMPACT, OPEN, "Meadow compact",
        ((31, 72), (33, 72), (33, 70), (34, 70), (34, 70), (35, 70), (34, 70)), (17, 24)),
    Day(0, "Mossy Hollow", TC, LIMITED, "Last round",
        ((45, 66), (45, 66), (46, 66), (46, 66), (46, 66), (46, 66), (46, 66)), (12, 18)),
)  # fmt: skip

SETUPS = {
    TC: """Front:
Ride height 5.0 mm
Droop 5.0 mm
Camber -1.5 °
Springs 2.6 N/mm
Oil 400 cSt
Rear:
Ride height 5.2 mm
Droop 4.5 mm
Camber -2.0 °
Springs 2.4 N/mm
Oil 400 cSt
Anti-roll bar 1.2 mm""",
    COMPACT: """Front:
Ride height 5.5 mm
Camber -1.0 °
Springs = soft
Rear:
Ride height 5.5 mm
Camber -1.5 °
Springs = medium""",
}
CHANGES = {
    (119, 3): ("Rear", "Springs", "2.2"),
    (91, 2): ("Front", "Springs", "medium"),
    (63, 1): ("Front", "Oil", "350"),
    (35, 2): ("Rear", "Camber", "-2.5"),
    (35, 5): ("Front", "Droop", "5.5"),
    (14, 3): ("Rear", "Ride height", "5.2"),
    (0, 1): ("Rear", "Springs", "2.4"),
}
REMARKS = (
    "Pushed in the hairpin.",
    "Loose on the way in, good after.",
    "Traffic, lost two laps.",
    "Best balance so far.",
    "Tyres fell off after three minutes.",
    "Hit the board, nothing broken.",
    "Damp in places.",
    "Belt clicked once. Look at it.",
    "Quick, but hot.",
)
PLANNED = {
    "Rev limit": "14600",
    "Signal at switch-on": "yes",
    "Timing advance": "0",
    "Advance and boost at zero": "yes",
    "Throttle response": "4",
    "Drag brake": "8",
}
CHARGERS = (
    ChargerRecord(
        name="Invented charger, two outputs",
        outputs=2,
        amps_per_output=10,
        watts_per_output=150,
        watts_in_all=200,
    ),
    ChargerRecord(name="Invented small charger", outputs=1, amps_per_output=6, watts_per_output=60),
)
PRACTICE = {"Rev limit": "18000", "Throttle response": "6"}
"""What the controller's second profile plans differently."""
DEFAULTS: dict[str, tuple[str, float | None, float | None]] = {
    "Rev limit": ("off", 1000, 60_000),
    "Timing advance": ("0", 0, 60),
    "Throttle response": ("5", 1, 10),
    "Drag brake": ("5", 0, 50),
}
"""What the invented maker sets, and the lowest and the highest that can be set."""
