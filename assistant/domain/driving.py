"""From harbor to harbor: great-circle distance over the business's average speed."""

from __future__ import annotations

from functools import lru_cache
from math import asin, ceil, cos, radians, sin, sqrt

from assistant.domain.business import Business, Place

EARTH_RADIUS_KM = 6371.0088
"""Mean radius (IUGG), as in the haversine formula."""


def kilometers(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Great-circle distance of two (latitude, longitude) pairs in degrees, by the haversine formula."""
    (lat_a, lon_a), (lat_b, lon_b) = ((radians(x), radians(y)) for x, y in (a, b))
    half = sin((lat_b - lat_a) / 2) ** 2 + cos(lat_a) * cos(lat_b) * sin((lon_b - lon_a) / 2) ** 2
    return 2 * EARTH_RADIUS_KM * asin(min(1.0, sqrt(half)))


def place_called(business: Business, name: str) -> Place | None:
    """The harbor that is called so, whatever the case and the apostrophes."""
    return _places(business.places).get(_plain(name))


def distance_km(business: Business, a: str, b: str) -> float:
    """Kilometers between two harbors by name; '' is the business's base. 0 where a position is not known."""
    here, there = _position(business, a), _position(business, b)
    return kilometers(here, there) if here and there else 0.0


def drive_minutes(business: Business, a: str, b: str) -> int:
    """Minutes of driving between two harbors, rounded up."""
    if _plain(a) == _plain(b):
        return 0
    return ceil(60 * distance_km(business, a, b) / business.speed_kmh)


def _position(business: Business, name: str) -> tuple[float, float] | None:
    if not name:
        return business.base
    place = place_called(business, name)
    if place is None or place.latitude is None or place.longitude is None:
        return None
    return place.latitude, place.longitude


@lru_cache(maxsize=64)
def _places(places: tuple[Place, ...]) -> dict[str, Place]:
    return {_plain(name): place for place in reversed(places) for name in (*place.also_called, place.name)}


def _plain(name: str) -> str:
    return " ".join(name.replace("'", "").replace("\u2019", "").lower().split())
