"""Verdicts handed to the line over MQTT 5 (OASIS standard): retained state, at least once, in sequence.

A message counts as sent when the broker has acknowledged it (quality of service 1), so one can arrive twice but none is
lost; its sequence tells a repeat. Whoever subscribes late finds the newest tray of each station retained, and whether
somebody hands over at all.
"""

import os
import re
import socket
import ssl
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from app.store import AT_ONCE, Message, Store, make_messages, mark_sent, unsent
from vision.errors import Unusable

if TYPE_CHECKING:
    from paho.mqtt.client import Client

ROOT = "brightbowl"
STATE_TOPIC = f"{ROOT}/hand-over/state"
USER, PASSWORD = "BRIGHTBOWL_MQTT_USER", "BRIGHTBOWL_MQTT_PASSWORD"
LOOK_AGAIN_S, ANSWER_S, KEEPALIVE_S = 0.5, 10.0, 20
WAITS_S = (0.5, 1.0, 2.0, 5.0, 10.0, 30.0)
"""Pauses before another try to reach a broker that is away; the last one is repeated."""
_PORTS = {"mqtt": 1883, "mqtts": 8883}
_FOR_NOW = (0x88, 0x89, 0x97, 0x9F)
"""Refusals that pass (MQTT 5, 3.2.2.2): unavailable, busy, quota exceeded, connection rate exceeded."""


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the line listens. `ca`: certificates to trust in place of the system's, for `mqtts`."""

    host: str
    port: int
    tls: bool
    ca: Path | None
    user: str | None
    password: str | None

    def __str__(self) -> str:
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"


class BrokerAway(Exception):
    """The broker can't be reached now, or went away; the text says what was found."""


def read_broker(url: str, ca: Path | None, environment: Mapping[str, str] = os.environ) -> Broker:
    """Read `mqtt://HOST:PORT` or `mqtts://HOST:PORT`; name and password come from the environment only.

    Parameters
    ----------
    url
        `mqtt://HOST:PORT` or `mqtts://HOST:PORT`.
    ca
        File of certificates to trust, PEM; none: those of the system.
    environment
        Where name and password are looked up.

    Returns
    -------
    Broker
        Where the broker is reached; no connection is made.

    Raises
    ------
    Unusable
        The URL is none, holds a password, or a file of certificates is missing.
    """
    parts = urlsplit(url)
    if parts.scheme not in _PORTS or not parts.hostname:
        raise Unusable("--broker", "", "mqtt://HOST:PORT or mqtts://HOST:PORT", parts.scheme or "no scheme")
    if parts.username or parts.password:
        raise Unusable("--broker", "", f"no name or password in the address; put them into {USER} and {PASSWORD}")
    try:
        port = parts.port or _PORTS[parts.scheme]
    except ValueError:
        raise Unusable("--broker", "", "a port from 1 to 65535") from None
    if ca is not None and not ca.is_file():
        raise Unusable(ca, "--ca", "a file of certificates (PEM)", "none")
    return Broker(parts.hostname, port, parts.scheme == "mqtts", ca, environment.get(USER), environment.get(PASSWORD))


def topic_of(station: str) -> str:
    """The topic of a station's verdicts; what MQTT keeps for itself becomes `_`."""
    return f"{ROOT}/{re.sub(r'[+#/$]', '_', station)}/verdict"


def hand_over(store: Store, broker: Broker, stop: Event, once: bool, say: Callable[[str], None]) -> int:
    """Send what is filed until told to stop (or, with `once`, until all is sent); how many messages were sent.

    A broker that is away is tried again and again; said once each time it goes and comes back.

    Parameters
    ----------
    store
        An open store.
    broker
        Where messages go.
    stop
        Set from outside.
    once
        Whether to end when all is sent.
    say
        Takes a line for people.

    Returns
    -------
    int
        Number of messages.

    Raises
    ------
    Unusable
        The broker refuses us (with `once`, also when it can't be reached), or the store can't be used.
    """
    sent, attempts = 0, 0
    while not stop.is_set():
        try:
            session = _Session(broker)
            if attempts:
                say(f"{broker} is back")
            attempts = 0
            try:
                _drain(store, session, stop, once)
            finally:
                session.close()
                sent += session.sent
            return sent
        except BrokerAway as fault:
            if once:
                expected = "a broker that answers; start it, or correct --broker"
                raise Unusable(str(broker), "", expected, str(fault)) from None
            if attempts == 0:
                say(f"{broker} is away ({fault}); what is filed waits in the store")
            stop.wait(WAITS_S[min(attempts, len(WAITS_S) - 1)])
            attempts += 1
    return sent


def _drain(store: Store, session: "_Session", stop: Event, once: bool) -> None:
    """Send what is filed, and wait for more unless `once`."""
    while not stop.is_set():
        while make_messages(store) == AT_ONCE:
            if stop.is_set():
                return
        waiting = unsent(store)
        for message in waiting:
            session.send(message)
            mark_sent(store, message)
            if stop.is_set():
                return
        if not waiting:
            if once:
                return
            session.stay(stop)


class _Session:
    """One connection to the broker, with a last will that tells when we are gone."""

    def __init__(self, broker: Broker) -> None:
        import paho.mqtt.client as mqtt
        from paho.mqtt.enums import CallbackAPIVersion

        self.sent = 0
        self._answered, self._refusal, self._for_now = Event(), "", False
        self._client: Client = mqtt.Client(
            CallbackAPIVersion.VERSION2, f"{ROOT}-{socket.gethostname()}-{os.getpid()}", protocol=mqtt.MQTTv5
        )
        self._client.on_connect = self._on_connect
        self._client.will_set(STATE_TOPIC, "offline", qos=1, retain=True)
        if broker.user is not None:
            self._client.username_pw_set(broker.user, broker.password)
        if broker.tls:
            try:
                self._client.tls_set(ca_certs=None if broker.ca is None else str(broker.ca))
            except ssl.SSLError as fault:
                raise Unusable(str(broker.ca), "--ca", "a file of certificates (PEM)", str(fault.reason)) from None
        try:
            self._client.connect(broker.host, broker.port, KEEPALIVE_S)
        except (OSError, ssl.SSLError) as fault:
            raise BrokerAway(getattr(fault, "strerror", None) or str(fault)) from None
        self._client.loop_start()
        answered = self._answered.wait(ANSWER_S)
        if not answered or self._refusal:
            self._client.loop_stop()
        if self._for_now:
            raise BrokerAway(self._refusal)
        if self._refusal:
            expected = f"a broker that lets us in; check {USER} and {PASSWORD}"
            raise Unusable(str(broker), "", expected, self._refusal)
        if not answered:
            raise BrokerAway(f"no answer in {ANSWER_S:.0f} s")
        self._publish(STATE_TOPIC, "online")

    def _on_connect(self, _client: object, _data: object, _flags: object, reason: object, _properties: object) -> None:
        self._refusal = str(reason) if getattr(reason, "is_failure", False) else ""
        self._for_now = getattr(reason, "value", None) in _FOR_NOW
        self._answered.set()

    def send(self, message: Message) -> None:
        """Send one message; returns once the broker has it."""
        self._publish(topic_of(message.station), message.payload)
        self.sent += 1

    def _publish(self, topic: str, payload: str) -> None:
        if not self._client.is_connected():
            raise BrokerAway("the connection broke")
        try:
            published = self._client.publish(topic, payload, qos=1, retain=True)
            published.wait_for_publish(ANSWER_S)
            arrived = published.is_published()
        except (RuntimeError, ValueError) as fault:
            raise BrokerAway(str(fault)) from None
        if not arrived:
            raise BrokerAway(f"not acknowledged in {ANSWER_S:.0f} s")

    def stay(self, stop: Event) -> None:
        """Wait a moment; the line is told that we are here by the connection itself."""
        stop.wait(LOOK_AGAIN_S)
        if not self._client.is_connected():
            raise BrokerAway("the connection broke")

    def close(self) -> None:
        """Say that we go, and go."""
        with suppress(BrokerAway):
            self._publish(STATE_TOPIC, "offline")
        self._client.disconnect()
        self._client.loop_stop()
