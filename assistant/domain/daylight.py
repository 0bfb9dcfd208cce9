"""When the sun is up: sunrise and sunset of a day at a place, good to a few minutes, which is enough to plan work.

The formulas are those of NOAA's Global Monitoring Division, "General Solar Position Calculations": the equation of
time and the sun's declination as Fourier series over the year (after Spencer, 1971), and the hour angle at which the
sun's upper edge stands on the horizon (zenith 90.833 degrees, refraction included).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from math import acos, cos, degrees, pi, radians, sin, tan

ZENITH = radians(90.833)


@lru_cache(maxsize=4096)
def daylight(day: date, latitude: float, longitude: float) -> tuple[datetime, datetime] | None:
    """Sunrise and sunset (aware UTC) of the local day; None where the sun does not set or does not rise."""
    angle = 2 * pi / 365 * (day.timetuple().tm_yday - 1)
    minutes_ahead = 229.18 * (
        0.000075 + 0.001868 * cos(angle) - 0.032077 * sin(angle) - 0.014615 * cos(2 * angle) - 0.040849 * sin(2 * angle)
    )
    declination = (
        0.006918 - 0.399912 * cos(angle) + 0.070257 * sin(angle) - 0.006758 * cos(2 * angle)
        + 0.000907 * sin(2 * angle) - 0.002697 * cos(3 * angle) + 0.00148 * sin(3 * angle)
    )  # fmt: skip
    at = radians(latitude)
    cosine = cos(ZENITH) / (cos(at) * cos(declination)) - tan(at) * tan(declination)
    if not -1 < cosine < 1:
        return None
    half_day = degrees(acos(cosine))
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    rise, fall = (
        midnight + timedelta(minutes=720 - 4 * (longitude + side * half_day) - minutes_ahead) for side in (1, -1)
    )
    return rise, fall
