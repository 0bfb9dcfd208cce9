"""Clients, their vessels and what was put on them: the records an answer is made personal with."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum


class Kept(StrEnum):
    """How a vessel is kept: decides how fast the sun uses a coating up (factor K)."""

    IN_WATER = "in_water"
    LIFT = "lift"
    COVERED = "covered"
    INDOORS = "indoors"


@dataclass(frozen=True, slots=True)
class Season:
    """The part of the year a vessel is in use, as (month, day) pairs, both inclusive; may wrap New Year."""

    begins: tuple[int, int]
    ends: tuple[int, int]

    def holds(self, day: date) -> bool:
        """True when `day` lies in the season. A 29 February end also covers 28 February."""
        here = (day.month, day.day)
        if self.begins <= self.ends:
            return self.begins <= here <= self.ends
        return here >= self.begins or here <= self.ends


@dataclass(frozen=True, slots=True)
class Client:
    """One owner. `phone` is E.164; `zone` an IANA key; `country` ISO 3166 alpha-2; `language` a folder name."""

    id: int
    name: str
    phone: str
    language: str
    zone: str
    country: str
    channel: str = "sms"
    closed: str | None = None
    """Why we no longer write of our own accord: 'sold', 'deceased', 'moved', 'number_returned'."""

    @property
    def first_name(self) -> str:
        """The name to greet with; empty when none is known."""
        return self.name.split()[0] if self.name.strip() else ""


@dataclass(frozen=True, slots=True)
class Vessel:
    """One boat of one client. `kept` holds in season, `kept_off_season` outside it (None: kept the same)."""

    id: int
    client_id: int
    name: str
    boat_type: str = ""
    length_ft: Decimal | None = None
    hin: str = ""
    water: str = "salt"
    place: str = ""
    kept: Kept = Kept.IN_WATER
    season: Season | None = None
    kept_off_season: Kept | None = None
    life_factors: str = ""
    """Per-vessel overrides of life parameters, `name=value;...` (see coatings.py)."""

    def kept_on(self, day: date) -> Kept:
        """How the vessel is kept on `day`."""
        if self.season is None or self.season.holds(day):
            return self.kept
        return self.kept_off_season or self.kept

    @property
    def laid_up(self) -> bool:
        """True when it spends part of the year out of use, kept another way."""
        return self.season is not None and self.kept_off_season not in (None, self.kept)


@dataclass(frozen=True, slots=True)
class Application:
    """One coating on one surface of one vessel on one date. `finished_at` (UTC) when the hour is known."""

    id: int
    vessel_id: int
    surface: str
    coating: str
    applied_on: date
    finished_at: datetime | None = None
    job_id: int | None = None


class CareKind(StrEnum):
    """What happened to a coating after it went on."""

    TOPPER = "topper"
    HARSH_WASH = "harsh_wash"
    MILD_WASH = "mild_wash"
    STRIP = "strip"
    INSPECTION = "inspection"


@dataclass(frozen=True, slots=True)
class CareEvent:
    """Something done to a finish. `area` is a share 0..1; `grade` (sharp, soft, chalky) only for inspections."""

    id: int
    vessel_id: int
    kind: CareKind
    on: date
    area: Decimal = Decimal(1)
    substance: str = ""
    surface: str = ""
    grade: str = ""


@dataclass(frozen=True, slots=True)
class Consent:
    """What a client agreed to. An opt-out wins over both and closes everything."""

    service: bool = False
    marketing: bool = False
    opted_out_at: datetime | None = None
    ended_kinds: frozenset[str] = frozenset()
    """Nudge kinds the client asked to end while keeping the rest."""

    @property
    def reachable(self) -> bool:
        """False after an opt-out: nothing may be sent."""
        return self.opted_out_at is None
