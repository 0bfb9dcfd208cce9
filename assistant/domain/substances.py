"""Verdicts: may this substance or tool be used on this surface of this boat today? Strictest reading wins.

verdict = f(effect on the coating, effect on the surface, class verdict, slip risk, days since the job).
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.domain.knowledge import Coating, Knowledge, Substance

DRY_CLASSES = frozenset({"mechanical", "heat", "other"})
WATER_CLASSES = frozenset({"water"})


@dataclass(frozen=True, slots=True)
class Freshness:
    """How long ago the coating was finished."""

    hours: float
    coating: Coating

    @property
    def keep_dry(self) -> bool:
        """Still in the hours in which it must stay dry."""
        return self.hours < self.coating.keep_dry_hours[1]

    @property
    def no_soap(self) -> bool:
        """Still in the days in which no soap may touch it."""
        return self.hours < 24 * self.coating.no_soap_days[1]


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict and what decided it. `because`: coating, surface, class, slippery, keep_dry, no_soap, unknown, nothing."""

    verdict: str
    because: str
    level: int | None
    base_surface: str = ""
    evidence: str = ""


def judge(
    substance: Substance, surface: str, coating: str, fresh: Freshness | None, knowledge: Knowledge
) -> Judgement:
    """The verdict for a substance on a surface id ('' = the coated boat in general) under a coating id ('' = bare)."""
    row = knowledge.surfaces.get(surface)
    base = knowledge.base_surface(surface) if surface else "gelcoat"
    coated = bool(coating) and (row is None or row.coated)
    if coated and fresh and (early := _too_early(substance, fresh)):
        return Judgement("no", early, None, base, f"finished {fresh.hours:.0f} h ago")
    on_surface = substance.effect(base)
    if on_surface.slippery and row is not None and row.slippery_risk:
        return Judgement("no", "slippery", on_surface.level, base, f"{base}: slippery")
    on_coat = substance.effect(coating) if coated else None
    levels = {"surface": on_surface.level, "coating": on_coat.level if on_coat else None}
    known = {name: level for name, level in levels.items() if level is not None}
    because = max(known, key=lambda name: (known[name], name == "coating"), default="unknown")
    level = known.get(because)
    evidence = ", ".join(f"{base if name == 'surface' else coating}: {level}" for name, level in known.items())
    return Judgement(_verdict(substance, level), because, level, base, f"{substance.id} [{substance.verdict}] {evidence}")


def _too_early(substance: Substance, fresh: Freshness) -> str:
    if substance.cls in DRY_CLASSES and substance.kind != "substance":
        return ""
    if fresh.keep_dry:
        return "keep_dry"
    if fresh.no_soap and substance.cls not in WATER_CLASSES:
        return "no_soap"
    return ""


def _verdict(substance: Substance, level: int | None) -> str:
    """Levels 2 and 3 are a no; 'avoid' is a no whatever the surface bears; 'ask' and 'dilute' are never a plain yes."""
    if substance.verdict == "avoid" or (level is not None and level >= 2):
        return "no"
    if level is None or level == 1 or substance.verdict in {"ask", "dilute"}:
        return "careful"
    return "yes"


def strictest(judgements: list[Judgement]) -> Judgement:
    """The judgement that must be heard first."""
    order = {"no": 0, "careful": 1, "yes": 2}
    return min(judgements, key=lambda one: (order[one.verdict], -(one.level or 0)))
