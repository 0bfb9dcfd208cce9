"""The pieces that the patterns of day expressions are made of: parts of months and weeks, counts, what may follow a day."""

from __future__ import annotations

import re

from assistant.domain.times import words as w
from assistant.domain.times.words import any_of

NEXT = r"next|following|proxim[oa]|viene|entra|siguiente|otra"
NO_HOUR = r"(?! ?(?:am\b|pm\b|a\.m|p\.m|:|ish\b|oclock))"
DAY = r"(?P<a>\d{1,2})(?:st|nd|rd|th)?"
TO = (
    rf"(?:(?P<to> ?- ?| to | thru | through | till? | until | al? | hasta | or | o | and | y | & |/|, )(?:the |el )?"
    rf"(?P<b>\d{{1,2}})(?:st|nd|rd|th)?\b{NO_HOUR})?"
)
YEAR = r"(?:,? (?:de |del )?(?P<y>20\d\d))?"
MONTH = rf"(?P<m>{w.MONTH}|(?:(?:next|this|that|the|el|este|ese|proximo) )*(?:month|mes)\b(?: que viene)?)"
LISTED = re.compile(r"or|o|and|y|&|/|,")
BETWEEN = re.compile(r"\b(?:between|from|entre|desde|del)(?: the| el)? ?$")
UNITS = r"days?|weeks?|months?|dias?|semanas?|mes(?:es)?"
SIDES = r"of|after|before|following|from|despues del?|antes del?|del?(?: la)?"
PART_OF_MONTH = any_of(
    "early(?: in)?", "mid(?:dle of)?", "later?(?: in)?",
    "(?:the )?(?:beginning|start|middle|end|first half|1st half|second half|2nd half|first part|last part|first (?:few )?days|last (?:few )?days) (?:of|in)",
    rf"(?:first|last) {w.COUNT} weeks (?:of|in)", rf"(?:las )?{w.COUNT} (?:primeras|ultimas) semanas del?", rf"{w.ORDINAL} week (?:of|in)", rf"{w.ORDINAL} semana del?", "(?:primera|segunda) (?:quincena|mitad) del?",
    "(?:a |los )?(?:principios?|inicios?|comienzos?|mediados?|finales?|fines?|fin) del?",
)  # fmt: skip
THIS_MONTH = any_of(
    "(?:the )?month after next", "(?:next|this|the following|rest of the) month", "este mes",
    "(?:el )?(?:proximo|siguiente) mes", "(?:el )?mes (?:que viene|que entra|proximo|entrante|siguiente)",
)  # fmt: skip
PART_OF_WEEK = any_of(
    "early", "beginning of", "start of", "late", "later", "end of", "mid-?", "a principios de", "principios de", "a finales de",
    "finales de", "a fines de", "fines de",
)  # fmt: skip
A_WEEK = any_of(
    r"(?:the )?week after next\b", r"rest of the week\b", r"(?:the )?(?:next|this|that|same|following) week\b(?!end)",
    r"(?:the )?week after\b(?! <| the\b| \d| that\b)", r"(?:la )?(?<!fin de )semana (?:que viene|que entra|entrante|proxima|siguiente)\b",
    r"(?:la )?semana despues\b(?! del?\b| <)", r"(?:la )?(?:proxima|siguiente|misma|otra) semana\b", r"(?:esta|esa) semana\b",
)  # fmt: skip
WEEKEND = (
    r"(?:(?:this|next|the|that|any|on a|coming|following|el|este|proximo|cualquier|un|los) )*"
    + any_of(r"weekends?\b(?: after next)?(?! (?:of|after|before)\b)", r"fin de semana\b(?: que viene)?(?! (?:antes|despues)\b)", r"fines de semana\b")
)
AHEAD = any_of("within", "in", "(?:in |over |during )?the next", "next", "en", "dentro de", "en (?:los|las) proxim[oa]s")
NEAR = any_of(
    r"\b(?:the )?day after (?:tomorrow|tmrw|tmr)\b", r"\bpasado manana\b", r"\b(?:tomorrow|tomm?orr?ow|tmrw|tmr|tomoz)\b(?: week\b)?",
    r"\b(?:today|tonight|hoy|this (?:morning|afternoon|evening)|esta (?:tarde|noche|manana))\b",
    "".join(f"(?<!{before} )" for before in ("de la", "por la", "en la", "las", "la", "una", "alguna", "cualquier", "media")) + r"\bmanana\b",
)  # fmt: skip
HOW = any_of(
    "(?:a )?week from (?:this )?", "this coming ", "this ", "coming ", "(?:the )?next ", "(?:the )?following ", "any ", "every ", "another ", "a different ", "some other ",
    "each ", "some ", "a ", "todos los ", "los ", "cualquier ", "algun ", "un ", "este ", "ese ", "el proximo ", "proximo ", "el otro ", "otro ",
)  # fmt: skip
WHICH_ONE = any_of("after next", r"after\b(?! <| the\b| \d|\w* (?:work|lunch|noon))", r"week\b", "que viene", "que entra", "entrante", "proximo")
COUNTS_NO_DAY = rf"{NO_HOUR}(?! ?(?:ft|foot|feet|boats?|times?|options?|slots?|ones?|hours?|of)\b)"
SEASONS = {"spring": 3, "primavera": 3, "summer": 6, "verano": 6, "fall": 9, "autumn": 9, "otono": 9, "winter": 12,
            "invierno": 12}  # fmt: skip
