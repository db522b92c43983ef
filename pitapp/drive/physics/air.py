"""Air density."""

from __future__ import annotations

from pitapp.limits import number

GAS_CONSTANT_DRY_AIR = 287.05287  # J/(kg·K)


def air_density_kg_m3(temperature_c: float, pressure_pa: float = 101_325.0) -> float:
    """Density of dry air: ρ = p / (R·T), R = 287.05287 J/(kg·K).

    Args:
        temperature_c: air temperature, -60 to 80 °C.
        pressure_pa: air pressure where the car runs, not reduced to sea level,
            30 000 to 120 000 Pa.

    Returns:
        kg/m³.

    Raises:
        ValueError: a temperature or pressure outside these limits.

    Source: ISO 2533, standard atmosphere.

    >>> round(air_density_kg_m3(15.0, 101_325.0), 4)
    1.225
    """
    celsius = number(temperature_c, "air temperature", -60, 80, unit="°C")
    pascal = number(pressure_pa, "air pressure", 30_000, 120_000, unit="Pa")
    return density_of(celsius, pascal)


def density_of(celsius: float, pascal: float) -> float:
    """`air_density_kg_m3` for figures that are known to be sound."""
    return pascal / (GAS_CONSTANT_DRY_AIR * (celsius + 273.15))
