"""Opting out and in: the carrier's own keywords (whole body, exact) and plain words any reasonable person would
understand. Never fuzzy: a slip must not opt anyone out, and nothing here runs after a fuzzy search.

Keyword lists: the carrier's default for long codes (messaging provider's documentation, tutorials/advanced-opt-out);
per se words and 'any reasonable means': 47 CFR 64.1200(a)(10).
"""

from __future__ import annotations

import re

from assistant.domain.understanding.reading import Keyword

KEYWORDS = {
    **dict.fromkeys("stop stopall unsubscribe cancel end quit revoke optout".split(), Keyword.OPT_OUT),
    **dict.fromkeys("start yes unstop".split(), Keyword.OPT_IN),
    **dict.fromkeys("help info".split(), Keyword.HELP),
}
ALSO_OPT_OUT = frozenset({"opt out", "opt-out", "stop all", "unsubscribe me", "stop it", "stop texting", "alto", "baja",
                          "darme de baja", "cancelar suscripcion", "remove me", "remove"})  # fmt: skip
"""Whole bodies that the law or plain sense reads as opting out though the carrier does not act on them."""

_TEXTS = r"(?:text(?:s|ing|ed)?|messag(?:e|es|ing)|msgs?|sms|reminders?|notifications?|contacting|writing|bothering|alerts?|spam(?:ming)?|mensajes?|textos?|avisos?|recordatorios|notificaciones)"
_PLAIN = re.compile(
    rf"\b(?:stop|quit|cease|knock off|cut out|no more|enough (?:of|with)|done with)\s+(?:with\s+)?(?:all\s+)?(?:of\s+)?(?:the|these|those|this|your|sending|getting|any)?\s*(?:\w+\s+){{0,3}}?{_TEXTS}\b"
    rf"|\b(?:stop|quit)\s+(?:sending|blowing up|hitting up|pinging|harassing|pestering|bugging|messaging|contacting)\b"
    rf"|\b(?:dont|do not|never|please dont|pls dont|plz dont|no longer|quit)\s+(?:\w+\s+){{0,2}}?(?:text|message|msg|contact|write|bother|send)\s+(?:me|us|to me|this number|here)?\b(?!.{{0,25}}\b(?:until|till|before|after|unless|if|photo|pic|the invoice|that)\b)"
    rf"|\b(?:take|get|remove|delete|drop|pull|scratch|leave|keep)\s+(?:me|us|my (?:number|name|phone|cell)|this number)\s+(?:off|from|out of)\b(?! (?:the )?(?:schedule|calendar|tuesday|monday|wednesday|thursday|friday|saturday|sunday|waiting|waitlist))"
    r"|\b(?:remove|delete|erase|lose|forget)\s+(?:my|this)\s+(?:number|phone|cell|contact)\b"
    r"|\bunsubscri(?:be|bed|bing)\b|\bopt(?:ing|ed)?[\s-]?(?:me )?out\b|\bwithdraw (?:my )?consent\b|\brevoke (?:my )?consent\b|\btake me off (?:this|the|your)\b(?! (?:schedule|calendar|waiting))"
    rf"|\b(?:dont|do not) want (?:any |to (?:get|receive) )?(?:more |any more |anymore |these |your |the |further )*{_TEXTS}\b|\bnot interested in (?:these |your |any )?{_TEXTS}\b"
    r"|\b(?:let me be|left in peace|leave me in peace|left alone)\b|\bmake (?:them|it|these|this) (?:stop|go away)\b|\b(?:do not|dont) send (?:me )?(?:any|no) ?more\b|\bno use for (?:these|your|the)\b|\bstop messaging\b"
    r"|^\W*no (?:more )?(?:texts|txts|text|messages|msgs|sms)\b|\b(?:wish|want|like) to receive from (?:this|your) number\b|\bno further (?:ones|texts|messages)\b|\bno longer (?:need|want|wish) to hear from you\b|\brather not (?:get|have|receive) any more\b"
    r"|\bleave me alone\b|\blose my number\b|\bget off my phone\b|\bdo not contact\b|\bno contact\b"
    rf"|\bno (?:me )?(?:manden|mandes|mande|envien|envies|envie|escriban|escribas|escriba|molesten|molestes|contacten)\b(?:\s+(?:mas|más)\b|.{{0,20}}\b{_TEXTS}\b|\s*$|[.,!])"
    r"|\b(?:dejen|deja|dejame|dejenme|paren|para)\s+(?:de\s+(?:mandar|enviar|escribir|molestar|textear)\w*|en paz)\b"
    rf"|\b(?:no quiero|ya no quiero|no deseo)\s+(?:recibir |mas |más |sus |estos |que me (?:manden|escriban|envien) )*(?:mas |sus |estos )*{_TEXTS}\b|\bno quiero que me escriban\b"
    r"|\b(?:quitenme|quiteme|quitame|saquenme|saqueme|sacame|borrenme|borreme|borrame|eliminenme|eliminame|bajenme|dar(?:me)? de baja|denme de baja|deme de baja)\b|\bborr(?:en|a|e) mi numero\b"
)
_ONE_KIND = re.compile(
    r"\b(?:topper|reseal|reminder about|booking|visit|appointment|care|check[\s-]?in|marketing|promo|offers?|sales|these kind|this kind|this one|that one|just the|only the)\b"
)
_NOT_OUT = re.compile(
    r"\bstop (?:by|in|over|at|on|the (?:water|leak|bleed|rust|mildew|spider|bird)|using|washing)\b|\b(?:dont|do not|didnt|never) (?:\w+ )?(?:stop|cancel|quit|opt)\b|\bwhy (?:did|have) you (?:stop|quit)\b"
    r"|\b(?:should|can|may|when) i (?:stop|quit)\b|\bopted out\b.{0,60}\b(?:mistake|accident|back|again)\b|\b(?:texts|reminders|messages) back\b"
)


def keyword(text: str) -> Keyword | None:
    """A carrier keyword: the whole body, any case, blanks and punctuation around it ignored."""
    body = re.sub(r"^[\s\W_]+|[\s\W_]+$", "", text).lower()
    return KEYWORDS.get(body)


def whole_body_opt_out(folded: str) -> bool:
    """A body that says nothing but 'opt out', 'remove me' and the like."""
    return re.sub(r"[^a-z\s-]", "", folded).strip() in ALSO_OPT_OUT


def opts_out(folded: str) -> bool:
    """Plain words that ask for no more texts at all."""
    if whole_body_opt_out(folded):
        return True
    return bool(_PLAIN.search(folded)) and not _NOT_OUT.search(folded) and not ends_one_kind(folded)


_THESE = re.compile(
    r"\W*(?:please |pls |ok )?(?:stop|no more(?: of)?|skip|quit sending|mute)\s+(?:these|those|this|that|them)(?: ones?| reminders?| kind)?(?: please| pls| thanks)?\W*"
)


def ends_these(folded: str) -> bool:
    """'stop these', said to a nudge: that kind ends, visits and answers go on."""
    return bool(_THESE.fullmatch(folded))


def keeps_on(folded: str) -> bool:
    """'don't stop sending them': the opposite of opting out."""
    return bool(_NOT_OUT.search(folded))


def ends_one_kind(folded: str) -> bool:
    """Only one kind of reminder is unwanted ('stop the topper reminders'), the rest may go on."""
    return bool(_PLAIN.search(folded)) and bool(_ONE_KIND.search(folded))
