"""How something is said: asking leave, reporting, leaning to an answer, small amounts, follow-ups. Regular expressions
over folded text (lower case, no accents), English and Spanish side by side."""

from __future__ import annotations

import re

from assistant.domain.understanding.reading import Slant

_WHO = r"(?:i|we|you|u|he|she|they|my \w+|the \w+|one|someone|somebody|anyone)"
PERMISSION = re.compile(
    rf"\b(?:can|could|may|should|shall|would|might|ought)(?:nt|n't| not)? {_WHO}\b(?! (?:come|send|tell|give|help|check|look|quote|fit|squeeze|swing|stop|do (?:it|this|my|the) (?:for|on)))"
    r"|\b(?:can|could|may|should) (?:it|this|that|these|a|an|those)\b"
    r"|\b(?:that|thats|that's|it|its|it's|this|should be|shouldnt|be) (?:is |was |be )?(?:fine|ok|okay|good|cool|alright|safe|bad|a problem)\b[^.?!]{0,20}(?:\bright\b|\?|$)|\by/n\b|\byes or no\b|\bso yes\b|\bright\s*\?"
    r"|\b(?:is|are|isnt|isn't|arent|was|would|wouldnt|will|wont|ok|okay|if)\b[^.?!]{0,60}\b(?:ok|okay|okey|safe|fine|alright|all right|bad|good|wrong|harmful|allowed|advisable|recommended|a problem|an issue|"
    r"a bad idea|a good idea|a no no|a no-no|harsh|too strong|too much|too rough|enough|worth|overkill|legal|kosher|dangerous|risky|necessary|needed|dumb|stupid|crazy|smart|suitable|gentle)\b"
    r"|\b(?:ok|okay|okey|safe|fine|alright|cool|good|bad|wrong|allowed|acceptable|kosher) (?:to|if|for|on|with|2)\b"
    r"|\b(?:any|a) (?:problem|harm|issue|trouble|risk|danger|downside|objection)s? (?:if|with|in|using|to)\b"
    r"|\b(?:does|do|will|would|could|can|might|gonna|going to|is|did) [^.?!]{0,60}\b(?:hurt|harm|damage|ruin|strip|scratch|mess up|mess with|wreck|kill|eat|dull|etch|melt|stain|fade|void|affect|take off|remove|shorten|work|help|matter|count|screw up|cloud|dissolve)\b"
    r"|\b(?:thinking (?:of|about)|planning (?:to|on)|plan to|about to|tempted to|was going to|im going to|i am going to|gonna|fixing to|wanna|want to|wanted to|would like to|id like to|hoping to|considering|intend to)\b[^.?!]{0,30}"
    r"\b(?:us(?:e|ing)|try(?:ing)?|spray(?:ing)?|put(?:ting)?|wash(?:ing)?|clean(?:ing)?|wip(?:e|ing)|scrub(?:bing)?|hit(?:ting)?|do(?:ing)?|apply(?:ing)?|polish(?:ing)?|wax(?:ing)?|buff(?:ing)?|mist(?:ing)?|rins(?:e|ing)|pressure|power|cover(?:ing)?|wrap(?:ping)?|seal(?:ing)?|soak(?:ing)?|let(?:ting)?|skip(?:ping)?|leav(?:e|ing))\b"
    r"|\b(?:do you mind|you mind if|am i allowed|are we allowed|permitted|thoughts on|opinion on|yay or nay|thumbs up|green light|any good|no good|a go|ok with you|good with you|cool with)\b"
    r"|\b(?:ok|okay|fine|good|safe|alright|right|yes|no)\s*\?+\s*$"
    r"|\b(?:should|must|do) (?:i|we) (?:avoid|skip|use|not|worry|stay away)\b|\b(?:dont|do not) (?:i|we) (?:have|need) to\b"
    r"|\b(?:would|will|does|do|could) [^.?!]{1,60}\b(?:get|take|lift|touch|clean|cut|bring|knock|hold up|survive|handle)\b"
    r"|\bcan [^.?!]{1,40}\b(?:handle|take|survive|go (?:on|over|right))\b|\bno big deal\b|\bwo?n'?t (?:do|matter|be|make)\b|\bdoesnt matter\b|\bno sweat\b"
    r"|\b(?:your|ur|the) (?:take|verdict|opinion|thoughts?) on\b|\bwhat do you think (?:of|about)\b|\b(?:good|ok) or (?:bad|not)\b|\bor nah\b|\bcompatible\b"
    r"|\bhow (?:bad|harmful|safe|ok) (?:is|are|would)\b|\bhow about (?:if|using|trying|some|a|just)\b|\bwhat if i\b(?! (?:already|accid))|\bwhy (?:cant|can't|not)\b|\bcan('t|t) i (?:just )?\b"
    # Spanish
    r"|\b(?:puedo|puede uno|podemos|podria|podriamos|se puede|se pueden|debo|deberia|debemos|conviene|es (?:malo|bueno|seguro|recomendable|dañino|necesario|mejor)|esta (?:bien|mal|permitido|ok)|estaria (?:bien|mal)|"
    r"sirve|sirven|funciona|hace daño|le hace daño|daña|dañan|daniara|arruina|estropea|mancha|raya|quita|afecta|perjudica|pasa algo|pasa nada|hay (?:algun )?problema|hay (?:lio|riesgo)|vale|me recomiendas|recomiendas|"
    r"pensaba (?:usar|echar|lavar|poner|pasar|limpiar)|voy a (?:usar|echar|lavar|poner|pasar|limpiar)|quiero (?:usar|echar|lavar|poner|pasar|limpiar)|queria (?:usar|echar|lavar|poner|pasar)|"
    r"le puedo|lo puedo|la puedo|que tal si|que tal (?:usar|con)|esta bien si|no pasa nada|es ok|verdad\s*\?|cierto\s*\?|no\s*\?\s*$)\b"
)
_PAST = (
    r"used|sprayed|washed|scrubbed|cleaned|wiped|hosed|rinsed|poured|applied|rubbed|buffed|polished|waxed|mopped|soaked|dumped|hit|went over|gave|put|tried|spilled|threw|blasted|misted|coated|degreased|bleached|acid washed|pressure washed|power washed|splashed|mixed|compounded|did"
)
REPORT = re.compile(
    r"(?<!\bdo )(?<!\bcan )(?<!\bif )(?<!\bcould )(?<!\bshould )(?<!\bwould )(?<!\bmust )(?<!\bdoes )(?<!\bdid )(?<!\bwhen )"
    rf"\b(?:i|we|he|she|they|someone|somebody|dude|the \w+(?: (?!if\b|when\b|and\b|or\b|to\b|be\b|is\b|after\b|once\b)\w+)?|my \w+(?: \w+)?|a \w+)\s+(?:just |already |accidentally |went and |kinda |may have |might have |mightve |also |have |has |ve |had |then |only |even |stupidly |actually )*(?:{_PAST})\b"
    rf"|\b(?:ive|i've|we've|weve|theyve|hes|shes)\s+(?:just |already |been )*(?:{_PAST}|using|spraying|washing|cleaning|scrubbing)\b"
    rf"|^(?:\W*(?:so|ok|hey|hi|uh oh|oops|well|um|btw|oh no|shoot)\W+)*(?:just |already |accidentally )*(?:{_PAST})\b(?! (?:to|for)\b)"
    r"|\b(?:started with|finished with|been using|have been using|was using|ended up using|made the mistake)\b"
    r"|(?<!\bto )(?<!\bi )(?<!\bu )(?<!\byou )(?<!\bwe )\b(?:use|usamos|usaron|uso|lave|lavo|lavamos|lavaron|limpie|limpiamos|limpiaron|limpio|eche|echo|echamos|echaron|puse|puso|pusimos|pusieron|le di|le pase|pase|le dio|frote|restregue|rocie|aplique|aplicamos|talle|tallo|enjuague)\b(?= (?:el|la|los|las|con|un|una|le|mi|mucho|algo|cloro|lejia|lavandina|vinagre|jabon|desengrasante|acetona|amoniaco|bicarbonato|quitagrasa|limpiador|detergente|lavavajillas)\b)"
)
_SHOULD_HAVE = re.compile(r"\b(?:should|could|can|may|would) (?:i|we) (?:have )?(?:use|used|spray|wash|put|try)\b|\bif (?:i|we) used\b")
_SPANISH_PERMISSION_USE = re.compile(r"\b(?:que|cual) \w+ uso\b|\bsi uso\b|\bsi (?:le )?(?:echo|limpio|lavo|pongo)\b|\bcuando (?:lo|la|le)? ?(?:lavo|limpio|echo)\b|\bcomo (?:lo|la|le)? ?(?:lavo|limpio)\b")  # fmt: skip
_TO_YES = re.compile(
    r"\b(?:right|correct|yeah|yea|yes|ok|okay|no|eh|huh|verdad|cierto|no es asi|vale)\s*\?+\s*$|\b(?:shouldnt|isnt|wont|cant) (?:be|it|that|this|hurt|i)\b|\b(?:that|thats|it|its|this|should be|is) (?:ok|okay|fine|good|alright|cool)\b[^?]*\bright\b|\bno (?:problem|harm|issue|biggie)\b|\bjust a (?:little|bit|tiny|splash|drop)\b|\bi(?:m| am) sure\b|\bi assume\b|\bi figure\b|\bno pasa nada\b"
)
_TO_NO = re.compile(r"\b(?:bad|wrong|harmful|hurt|damage|ruin|avoid|stay away|a no no|no-no|a bad idea|malo|mal|daña|daño|arruina|evitar)\b")
LEANS_BACK = re.compile(
    r"^\W*(?:(?:ok|so|but|and|then|well|hmm|y|pero) )*(?:if|what if|and|does (?:that|the same|it)|would (?:that|it)|same|even|only|just|it was|too late|on|for|in|with|also|si|tambien|y si|solo|en|para)\b|\btoo\s*\?*$|\binstead\b|\btoo late\b"
)
FOLLOW_UP = re.compile(
    r"^\W*(?:ok |okay |and |y |but |so |also |then |alright |got it |thanks |cool |great |gracias |pero |entonces )*(?:,? ?)(?:what about|how about|whatabout|and(?: for| on| the| if| with)?|same (?:for|with|on|goes)|does that (?:go|apply)|is it the same|"
    r"y (?:en|con|para|si|el|la|los|las|que)|que tal|lo mismo|igual (?:para|en|con)|tambien (?:en|para|con)|even|or|instead|also)\b"
)
_DILUTED = re.compile(r"\b(?:diluted|dilute|watered down|weak|a little|a bit of|tiny bit|a splash|a drop|a capful|mild|diluid[oa]|rebajad[oa]|con agua|un poquito|poquito)\b")
_NEAT = re.compile(r"\b(?:neat|straight|undiluted|full strength|pure|puro|sin diluir|concentrad[oa])\b")
_AREAS = (
    ("spot", re.compile(r"\b(?:spot|spots|one place|small (?:area|patch|spot)|little (?:area|patch|spot)|dab|corner|drip|drips|splash|mancha|manchita|un punto|una zona|pedacito)\b")),
    ("side", re.compile(r"\b(?:one side|a side|port side|starboard side|half the boat|cockpit|transom|the stern|the bow|un lado|un costado|la popa|la proa)\b")),
    ("whole_boat", re.compile(r"\b(?:whole|entire|all over|everything|everywhere|the boat|my boat|hull|todo|entero|completo|el bote|el barco|la lancha|el casco)\b")),
)  # fmt: skip
_WH_WORD = re.compile(r"\b(?:how|what|which|when|where|can|could|should|como|que|cual|cuando|puedo)\b")
HOW_MUCH = re.compile(r"\b(?:how much|how strong|concentration|recipe|watered (?:way )?down|how many (?:caps?|cups?|parts)|one cap|a cap per|percent|concentracion|receta|what (?:ratio|mix|dilution|strength|percentage)|ratio|dilution|parts? water|cuanto|cuanta|que proporcion)\b")
NOTHING_DONE = re.compile(r"\b(?:didnt|did not|havent|have not|never|no (?:use|usamos|lave|eche)|not yet)\b")


WH_LEAD = re.compile(r"^\W*(?:(?:so|and|ok|hey|hi|also|but|btw|y|entonces|then) )*(?:how|when|what|whats|which|where|who|why|como|cuando|que|cual|donde|cada cuanto)\b")
_WH_YET_LEAVE = re.compile(
    r"^\W*(?:\w+ )?(?:what (?:about|if)|what do you think|whats (?:your|ur|the) (?:take|verdict|opinion)|how about|how (?:bad|safe|harmful)|why not|why cant|que tal|que pasa si)\b"
)
_OK_ASKED = re.compile(
    r"\b(?:ok|okay|fine|safe|alright|all right|good|bad|correct|right|no harm|a problem|wrong|bien|mal|malo|cierto|verdad)\b[^.?!]{0,25}\?|\bright\s*$|\b(?:thats|that's|its|it's) (?:fine|ok|okay|good)\b"
)


def asks_leave(folded: str) -> bool:
    """'may I', 'is it ok', 'will it hurt', 'X on the hull?': wants a verdict, whatever the wording."""
    if WH_LEAD.search(folded) and not _WH_YET_LEAVE.search(folded) and folded.count("?") < 2:
        return False
    return bool(PERMISSION.search(folded))


def asks_whether_ok(folded: str) -> bool:
    """A report that wants to hear whether it was all right ('that's fine right?')."""
    return bool(_OK_ASKED.search(folded))


_JUST_DONE = re.compile(
    r"\b(?:sealed|coated|waxed|finished|detailed|did (?:it|her|him|the boat|my boat)|you (?:guys )?left|(?:since|after) you|the job|sellaron|terminaron|enceraron)\b[^.?!]{0,40}\b(?P<when>this morning|today|tonight|earlier|yesterday|last night|hours? ago|esta mañana|hoy|ayer|hace (?:un rato|\w+ horas?))\b"
    r"|\b(?P<then>this morning|today|yesterday|last night|hoy|ayer|\w+ hours? (?:ago|after))\b[^.?!]{0,40}\b(?:sealed|coated|waxed|finished|you left|you (?:guys )?did)\b"
    r"|\bjust (?:got |been |had (?:it|her) )?(?P<just>sealed|coated|waxed|finished)\b|\brecien (?P<recien>sellad|encerad)"
)


def finished_hours_ago(folded: str) -> float | None:
    """Hours since the job by the client's own words ('you sealed it this morning'); None when nothing is said."""
    found = _JUST_DONE.search(folded)
    if not found:
        return None
    when = found["when"] or found["then"] or ""
    return 20.0 if when in {"yesterday", "last night", "ayer"} else 5.0


_BARE_PAST = re.compile(
    r"\b(?:used|sprayed|washed|scrubbed|cleaned|wiped|hosed|poured|applied|rubbed|buffed|soaked|dumped|tried|"
    r"misted|degreased|rinsed)\b|\b(?:ago|yesterday|last (?:week|night|month|weekend|sunday|saturday))\b"
)


def reports(folded: str) -> bool:
    """Something was already done by the sender or somebody near ('I used', 'my wife sprayed', 'acetone, one spot. rinsed')."""
    bare = _BARE_PAST.search(folded) and not asks_leave(folded) and not _WH_WORD.search(folded)
    if not (REPORT.search(folded) or bare) or _SHOULD_HAVE.search(folded) or NOTHING_DONE.search(folded):
        return False
    return not _SPANISH_PERMISSION_USE.search(folded)


def slant(folded: str) -> Slant:
    """Which answer the sender hopes for or fears."""
    if _TO_YES.search(folded):
        return Slant.TO_YES
    return Slant.TO_NO if _TO_NO.search(folded) else Slant.NONE


def follows_up(folded: str) -> bool:
    """'what about the seats?': takes what is missing from the turn before."""
    return bool(FOLLOW_UP.search(folded))


TOO_LATE = re.compile(r"\b(?:too late|already (?:did|used|put)|i did (?:it|that)|did (?:it|that) (?:yesterday|last|already)|used it|ya lo hice|ya lo use|muy tarde)\b")
STAYS = re.compile(
    r"\bstill (?:there|here|on|shows?|visible|see)\b|\b(?:wont|won't|didnt|didn't|doesnt|doesn't|dont|don't|will not|does not|did not|not) (?:come|coming|budge|move|moving|work|help|go|do|rinse)\b|\bno luck\b|\bstayed\b|\bdoes nada\b|\bsigue ahi\b|\bno (?:sale|se quita|se va)\b"
)
HARMED = re.compile(
    r"\b(?:sticky|foggy|cloudy|ruined|cracks?|cracked|cracking|peel(?:ing|ed)?|dull(?:ed)?|yellow(?:ed)?|hazy|melted|bubbl(?:es|ed|ing)|etched|faded|shine is gone|lost (?:its|the) shine|white (?:mark|spot|patch)e?s?|stain(?:ed)? it|pegajos\w+|opac\w+|grietas?|se opaco|mancho)\b"
)


def leans_back(folded: str) -> bool:
    """A short text that only makes sense with the one before ('on stainless?', 'but if it's watered down?')."""
    return bool(LEANS_BACK.search(folded))


def dilution(folded: str) -> str:
    """'diluted', 'neat' or nothing said."""
    return "diluted" if _DILUTED.search(folded) else "neat" if _NEAT.search(folded) else ""


def area(folded: str) -> str:
    """How much of the boat: spot, side, whole_boat, or nothing said."""
    return next((name for name, pattern in _AREAS if pattern.search(folded)), "")
