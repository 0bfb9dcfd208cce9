"""Sends through Twilio. Its answers and failures become a Receipt or one of three errors, in `send` and nowhere else.

Twilio has no way to repeat a request safely: a lost answer means that nobody knows whether the text left.
"""

from __future__ import annotations

import logging
import ssl
from collections.abc import Iterator
from datetime import datetime, timedelta

import requests
import urllib3.exceptions
from twilio.base.exceptions import TwilioRestException
from twilio.http.http_client import TwilioHttpClient
from twilio.rest import Client

from assistant.carriers.carrier import LONGEST_WAIT_SECONDS, OutgoingText, Receipt
from assistant.carriers.fictional import is_fictional
from assistant.domain.errors import CarrierBusy, CarrierError, CarrierRefused, CarrierUnknown

log = logging.getLogger(__name__)

TIMEOUT_SECONDS = 15
TOO_MANY_REQUESTS = 20429
QUEUE_FULL = 21611
LISTED = 100
"""How many of the newest texts to one number are looked through for a lost one."""

_NEVER_REACHED = (
    urllib3.exceptions.NewConnectionError,
    urllib3.exceptions.ConnectTimeoutError,
    ssl.SSLCertVerificationError,
)


class TwilioCarrier:
    """One sender: a number, or a messaging service (`sender` begins with MG)."""

    def __init__(
        self,
        account_sid: str,
        auth_token: str,
        sender: str,
        status_callback: str = "",
        http_client: TwilioHttpClient | None = None,
    ) -> None:
        # A fresh connection for every text: a pooled one may have died unseen, and then nobody knows what was sent.
        http = http_client or TwilioHttpClient(pool_connections=False, timeout=TIMEOUT_SECONDS)
        self._client = Client(account_sid, auth_token, http_client=http)
        self._sender = sender
        self._status_callback = status_callback

    def send(self, text: OutgoingText) -> Receipt:
        """Hand the text to Twilio. Raises CarrierRefused, CarrierBusy or CarrierUnknown."""
        if is_fictional(text.to):
            raise CarrierRefused(f"{text.to} is reserved for fiction: texts to it never leave")
        try:
            message = self._client.messages.create(
                to=_address(text.to, text.channel),
                body=text.text,
                validity_period=max(1, min(text.valid_seconds, LONGEST_WAIT_SECONDS)),
                **({"media_url": list(text.media_urls)} if text.media_urls else {}),
                **self._from(text.channel),
            )
        except TwilioRestException as error:
            raise _translated(error) from error
        except requests.RequestException as error:
            if _never_reached(error):
                raise CarrierBusy(f"Twilio was not reached: {error}") from error
            raise CarrierUnknown(f"Twilio's answer was lost: {error}") from error
        except ValueError as error:
            raise CarrierUnknown(f"Twilio's answer could not be read: {error}") from error
        return Receipt(sid=str(message.sid), status=str(message.status))

    def find(self, text: OutgoingText, since: datetime) -> Receipt | None:
        """Look for the text among the newest to that number. Raises CarrierBusy when the list cannot be had.

        Not filtered by the date sent, which a text still in the queue does not have. A trial account puts words of
        its own in front of the text, so the end decides.
        """
        try:
            listed = self._client.messages.list(to=_address(text.to, text.channel), limit=LISTED, page_size=LISTED)
        except (TwilioRestException, requests.RequestException, ValueError) as error:
            raise CarrierBusy(f"Twilio's list of texts could not be read: {error}") from error
        for message in listed:
            made = message.date_created
            recent = made is None or made >= since - timedelta(minutes=1)
            ours = str(message.direction or "").startswith("outbound-api")
            if recent and ours and (message.body or "").strip().endswith(text.text.strip()):
                return Receipt(sid=str(message.sid), status=str(message.status))
        return None

    def _from(self, channel: str) -> dict[str, str]:
        """Who sends, and where the later statuses go."""
        service = self._sender.startswith("MG")
        sender = {"messaging_service_sid": self._sender} if service else {"from_": _address(self._sender, channel)}
        return sender | ({"status_callback": self._status_callback} if self._status_callback else {})


def _address(number: str, channel: str) -> str:
    """The number as Twilio writes it for a channel."""
    return number if channel == "sms" else f"{channel}:{number}"


def _translated(error: TwilioRestException) -> CarrierError:
    """Twilio's HTTP error by class; single codes only where they decide whether to try again."""
    words = f"Twilio answered {error.status}: {error.msg}"
    if error.status == 429 or error.code in (TOO_MANY_REQUESTS, QUEUE_FULL):
        return CarrierBusy(words, error.code)
    if error.status in (401, 403):
        # Nothing was sent, and the same text is welcome once the account is in order.
        log.error("Twilio does not accept the account: check TWILIO_ACCOUNT_SID and TWILIO_AUTH_TOKEN (%s)", words)
        return CarrierBusy(words, error.code)
    if 400 <= error.status < 500:
        return CarrierRefused(words, error.code)
    return CarrierUnknown(words, error.code)


def _never_reached(error: requests.RequestException) -> bool:
    """True when the connection was never made, so that nothing can have been sent."""
    return any(isinstance(cause, _NEVER_REACHED) for cause in _causes(error))


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    """The error, and what it was raised from or wraps, at every depth."""
    while error is not None:
        yield error
        wrapped = error.args[0] if error.args else None
        deeper = (getattr(wrapped, "reason", None), getattr(error, "reason", None), wrapped, error.__cause__)
        error = next((cause for cause in deeper if isinstance(cause, BaseException)), None)
