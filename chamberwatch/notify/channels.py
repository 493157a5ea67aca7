"""The two kinds of channel: an address apprise understands (mail, push, webhook …), or an MQTT topic.

A sender's `send` returns None when the other side took the message, else the problem in plain words. An
address carries passwords: it is never logged and never shown, and what apprise says of a failure is cleaned
of its parts before anyone reads it. apprise costs about 20 MB and is imported only where an address is used.
"""

from __future__ import annotations

import json
import logging
import re
import threading
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol
from urllib.parse import unquote, urlsplit

from chamberwatch.wire.timestamp import format_rfc3339

PUBLISH_TIMEOUT_S = 10.0
_SECRET_LEN = 4  # blotting out shorter parts (yes, to, 25) would make every text unreadable


@dataclass(frozen=True, slots=True)
class ChannelPlan:
    """One channel: its name, and either an apprise address (secret) or a topic on the house's broker."""

    name: str
    url: str | None = field(default=None, repr=False)
    topic: str | None = None
    burst: int | None = None
    every_s: float | None = None
    """Messages at once, then one every so many seconds; None: as the notifier's own pace says."""

    def __post_init__(self) -> None:
        if (self.url is None) == (self.topic is None):
            raise ValueError(f"channel {self.name}: give either an address (url) or a topic, one of the two")
        if self.topic is not None and (not self.topic or set(self.topic) & set("+#\0")):
            raise ValueError(f"channel {self.name}: topic {self.topic!r} must not be empty nor hold + or #")


class Outgoing(NamedTuple):
    """One message, ready to go: plain text, with what a program at the other end needs to sort it."""

    event_id: str
    kind: str
    state: str
    chamber: str
    priority: str
    at_ms: int
    repeat: int
    headline: str
    body: str


class Publish(Protocol):
    """Hand a payload to the broker and wait: True when the broker acknowledged it in time."""

    def __call__(
        self,
        topic: str,
        payload: bytes,
        qos: int = 1,
        retain: bool = False,
        timeout_s: float = PUBLISH_TIMEOUT_S,
    ) -> bool:
        """Publish."""
        ...


class Sender(Protocol):
    """What a channel's thread needs of its channel."""

    def send(self, message: Outgoing) -> str | None:
        """Return None when the message was taken, else the problem in plain words."""
        ...


def build_sender(plan: ChannelPlan, publish: Publish | None) -> Sender:
    """Return the channel's sender; ValueError in plain words when its address cannot be used."""
    if plan.url is not None:
        return UrlSender(plan.url)
    if publish is None:
        raise ValueError("the topic needs a broker, and the settings name none")
    return TopicSender(str(plan.topic), publish)


def channel_problem(plan: ChannelPlan, publish: Publish | None = None) -> str | None:
    """Return what is wrong with a channel's settings, without sending anything; None if nothing is."""
    try:
        if plan.url is not None:
            UrlSender(plan.url)
    except ValueError as fault:
        return str(fault)
    return None if plan.url is not None or publish is not None else "the topic needs a broker"


def probe_channel(plan: ChannelPlan, publish: Publish | None = None, at_ms: int = 0) -> str | None:
    """Send a test message; return None when it was taken, else the problem in plain words."""
    test = Outgoing(
        event_id="test",
        kind="test",
        state="noted",
        chamber="",
        priority="low",
        at_ms=at_ms,
        repeat=0,
        headline="Test message",
        body=f"This is only a test. If you can read it, the channel {plan.name} works. Nothing is wrong.",
    )
    try:
        return build_sender(plan, publish).send(test)
    except ValueError as fault:
        return str(fault)


# -- a topic on the broker --------------------------------------------------------------------------------


def as_json(message: Outgoing) -> bytes:
    """Return the message as one UTF-8 JSON object; `text` is the whole text, as in the event lines."""
    return json.dumps(
        {
            "id": message.event_id,
            "kind": message.kind,
            "chamber": message.chamber,
            "state": message.state,
            "priority": message.priority,
            "headline": message.headline,
            "text": f"{message.headline}\n{message.body}",
            "at": format_rfc3339(message.at_ms),
            "repeat": message.repeat,
        },
        ensure_ascii=False,
    ).encode()


class TopicSender:
    """Publishes to one topic, quality of service 1; not retained: old alarms must not greet a new reader."""

    def __init__(self, topic: str, publish: Publish) -> None:
        self._topic = topic
        self._publish = publish

    def send(self, message: Outgoing) -> str | None:
        """Return None once the broker acknowledged the message."""
        payload = as_json(message)
        if self._publish(self._topic, payload, qos=1, retain=False, timeout_s=PUBLISH_TIMEOUT_S):
            return None
        return f"the broker did not take the message for {self._topic} within {PUBLISH_TIMEOUT_S:g} s"


# -- an address that apprise understands ------------------------------------------------------------------


class _Overheard(logging.Handler):
    """Keeps what apprise logs, a list a thread: its only way of saying why something failed."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self._own = threading.local()

    def begin(self) -> None:
        self._own.lines = []

    def end(self) -> list[str]:
        lines: list[str] = self._own.__dict__.pop("lines", [])
        return lines

    def emit(self, record: logging.LogRecord) -> None:
        lines = self._own.__dict__.get("lines")
        text = record.getMessage()
        # Its debug lines carry whole messages; only the cause of a failure is worth keeping of them.
        if lines is not None and (record.levelno >= logging.WARNING or "Exception: " in text):
            lines.append(text.rpartition("Exception: ")[2])


_overheard = _Overheard()
_overhearing = threading.Lock()


def _overhear() -> None:
    """Listen to apprise's logger, once a process, and keep it from every other log: it may name secrets."""
    with _overhearing:
        logger = logging.getLogger("apprise")
        if _overheard not in logger.handlers:
            logger.addHandler(_overheard)
            logger.setLevel(logging.DEBUG)
            logger.propagate = False


class UrlSender:
    """Sends through one apprise address, in the calling thread, as plain text."""

    def __init__(self, url: str) -> None:
        """Raise ValueError in plain words when apprise cannot use the address."""
        _overhear()
        _overheard.begin()
        self._url = url
        self._service = _instantiate(url)
        why = clean("; ".join(_overheard.end()), url)
        if self._service is None:
            raise ValueError(
                f"the address {shown(url)} cannot be used: {why or 'unknown kind'} (one address a channel, "
                "such as mailto://… or json://…)"
            )

    def send(self, message: Outgoing) -> str | None:
        """Return None once the other side took the message. May block for its time limit (mail: 15 s)."""
        _overheard.begin()
        taken = self._service.notify(title=message.headline, body=message.body, body_format="text")
        lines = _overheard.end()
        if taken:
            return None
        said = clean("; ".join(dict.fromkeys(lines)), self._url)
        return said or "the other side did not take it and gave no reason"


def _instantiate(url: str) -> Any:
    # Late: 20 MB that a house with a topic only does not pay. And not `Apprise.notify`: it sends from
    # a shared pool of threads, which a hanging service can fill and which holds up the end of the process.
    from apprise import Apprise, AppriseAsset  # noqa: PLC0415

    asset = AppriseAsset(
        app_id="chamberwatch", app_desc="chamberwatch", app_url="", image_url_mask="", image_url_logo="",
        storage_mode="memory", pgp_autogen=False, pem_autogen=False,
    )  # fmt: skip
    return Apprise.instantiate(url, asset=asset)


def shown(url: str) -> str:
    """Return an address as it may be shown: its scheme only."""
    scheme, colon, _ = url.partition("://")
    return f"{scheme}://…" if colon else "(without ://)"


def clean(text: str, url: str) -> str:
    """Remove every address, and every part of `url` that may be a secret, from a text."""
    text = re.sub(r"\S+://\S*", "…", text)
    for part in sorted(_secrets(url), key=len, reverse=True):
        text = text.replace(part, "…")
    return text[:300].strip()


def _secrets(url: str) -> set[str]:
    """Return what stands in an address beside scheme, host and port, as written and decoded."""
    split = urlsplit(url)
    login, _, _ = split.netloc.rpartition("@")
    parts = re.split(r"[:/&=@,]", f"{login}/{split.path}/{split.query}/{split.fragment}")
    return {p for raw in parts for p in (raw, unquote(raw)) if len(p) >= _SECRET_LEN}
