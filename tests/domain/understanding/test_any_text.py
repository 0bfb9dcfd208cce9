"""Any Unicode text gets an answer or a meant silence: never an exception, never over three segments, always valid XML."""

from xml.etree import ElementTree

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from twilio.twiml.messaging_response import MessagingResponse

from assistant.domain.conversation.decide import decide
from assistant.domain.knowledge import Knowledge
from assistant.domain.sms import clean, measure
from assistant.domain.understanding.read import read
from tests.development.replay import CLIENTS, DIARY, NOW

WORDS = st.sampled_from(
    "can i use bleach vinegar hull seats ? and then on the it mixed eyes STOP wash tues 10 topper cloro puedo el casco my"
    " boat when reseal rust stain 7681-52-9 ph 12 label says no not free".split()
)
TEXTS = st.one_of(st.text(max_size=1600), st.lists(WORDS, max_size=40).map(" ".join))


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=TEXTS, who=st.sampled_from(sorted(CLIENTS)))
def test_any_text_is_answered(knowledge: Knowledge, text: str, who: str) -> None:
    decision = decide(read(text, CLIENTS[who], knowledge), CLIENTS[who], knowledge, DIARY, NOW)
    for reply in decision.replies:
        assert 1 <= measure(reply).segments <= 3
        answer = MessagingResponse()
        answer.message(clean(reply))
        ElementTree.fromstring(str(answer))
    assert decision.verdict in {None, "yes", "no", "careful"}
    assert 0 <= decision.certainty <= 1
