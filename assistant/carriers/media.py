"""Fetches pictures from the carrier, and nothing from anywhere else: https only, our account's own address, the
account's name and token sent there and never on a redirect, and an end to size and time."""

from __future__ import annotations

import re
import time
from urllib.parse import urljoin, urlsplit

import requests

LARGEST = 8 * 1024 * 1024
"""Octets of one picture; the carrier's own limit for a message is 5 MB."""
SECONDS = 20.0
"""For one picture, redirects included."""
PAUSE = (5.0, 10.0)
"""Seconds to wait for a connection, and for the next octets."""
REDIRECTS = 3
HOST = "api.twilio.com"
STORES = frozenset({"media.twiliocdn.com", "mms.twiliocdn.com", "s3-external-1.amazonaws.com"})
"""Where the carrier sends us on to (messaging provider's documentation; its stores of media)."""


class MediaRefused(Exception):
    """This picture will never be fetched: why."""


class MediaLater(Exception):
    """It could not be had now."""


class MediaSource:
    """Fetches media of one account."""

    def __init__(self, account_sid: str, auth_token: str, session: requests.Session | None = None) -> None:
        self._account_sid = account_sid
        self._auth = (account_sid, auth_token)
        self._session = session or requests.Session()

    def fetch(self, url: str) -> bytes:
        """The octets at `url`. Raises MediaRefused or MediaLater."""
        if not self._ours(url):
            raise MediaRefused("the address is not the carrier's")
        until = time.monotonic() + SECONDS
        for hop in range(REDIRECTS + 1):
            try:
                response = self._get(url, with_account=hop == 0)
                with response:
                    if not response.is_redirect:
                        return _content(response, until)
                    url = urljoin(url, response.headers["Location"])
            except requests.RequestException as error:
                raise MediaLater(str(error)) from error
            if not _may_follow(url):
                raise MediaRefused("the carrier sends on to an unknown address")
        raise MediaRefused("the carrier sends on and on")

    def _get(self, url: str, *, with_account: bool) -> requests.Response:
        auth = self._auth if with_account else _nobody
        return self._session.get(url, auth=auth, stream=True, timeout=PAUSE, allow_redirects=False)

    def _ours(self, url: str) -> bool:
        path = rf"/2010-04-01/Accounts/{re.escape(self._account_sid)}/Messages/[A-Z]{{2}}[0-9a-f]{{32}}/Media/ME[0-9a-f]{{32}}"
        return bool(self._account_sid) and _plain_https(url) == HOST and bool(re.fullmatch(path, urlsplit(url).path))


def _nobody(request: requests.PreparedRequest) -> requests.PreparedRequest:
    """Sign nothing; without it the library would look for a password in the user's home."""
    return request


def _plain_https(url: str) -> str:
    """The host of an https address without user, port or blanks; empty for any other."""
    try:
        parts = urlsplit(url)
        odd = parts.scheme != "https" or parts.username is not None or parts.port not in (None, 443)
    except ValueError:
        return ""
    return "" if odd or re.search(r"[\s\\]", url) else parts.hostname or ""


def _may_follow(url: str) -> bool:
    return _plain_https(url) in STORES | {HOST}


def _content(response: requests.Response, until: float) -> bytes:
    """The body, as long as it is neither too large nor too slow."""
    if response.status_code in (408, 425, 429) or response.status_code >= 500:
        raise MediaLater(f"the carrier answered {response.status_code}")
    if response.status_code != 200:
        raise MediaRefused(f"the carrier answered {response.status_code}")
    octets = bytearray()
    for part in response.iter_content(64 * 1024):
        octets += part
        if len(octets) > LARGEST:
            raise MediaRefused("it is too large")
        if time.monotonic() > until:
            raise MediaLater("it came too slowly")
    return bytes(octets)
