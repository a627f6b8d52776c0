"""A fixture's controller on Eclipse Paho's MQTT client: it does nothing that the check does not tell it to."""

import json
import socket
import struct
import threading
import time
from dataclasses import dataclass

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from waiting import PATIENCE

VERSIONS = {"3.1.1": MQTTv311, "5.0": MQTTv5}
DOWNWARD = ("desired", "showing", "patch", "problem")
UPWARD = ("boot", "ask", "reported", "event", "wish", "alive")


@dataclass(frozen=True)
class Message:
    """A message that was heard."""

    topic: str
    qos: int
    retained: bool
    payload: bytes

    @property
    def json(self):
        return json.loads(self.payload)


class Refused(Exception):
    """The broker did not let it in; `args[0]` is Paho's reason code."""


class Firmware:
    """One connection of one fixture."""

    def __init__(self, daemon, fixture, secret, version="3.1.1", qos=1, will=None, client_id=None):
        self.fixture, self.qos, self.version = fixture, qos, version
        self.heard, self._connected, self._granted, self._taken, self._ended = [], [], {}, {}, []
        self._news = threading.Condition()
        # a session of its own each time: 3.1.1 says so here, 5.0 when connecting
        clean = True if version == "3.1.1" else None
        self.client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id or fixture,
            clean_session=clean,
            protocol=VERSIONS[version],
            reconnect_on_failure=False,
        )
        self.client.username_pw_set(fixture, secret)
        if will is not None:
            self.client.will_set(*will, qos=1, retain=True)
        self.client.on_connect = lambda client, data, flags, code, properties: self._note(self._connected.append, code)
        self.client.on_disconnect = lambda client, data, flags, code, properties: self._note(self._ended.append, code)
        self.client.on_subscribe = lambda client, data, mid, codes, properties: self._note(
            self._granted.update, {mid: codes}
        )
        self.client.on_publish = lambda client, data, mid, code, properties: self._note(self._taken.update, {mid: code})
        self.client.on_message = lambda client, data, message: self._note(
            self.heard.append, Message(message.topic, message.qos, message.retain, bytes(message.payload))
        )
        self.client.connect("127.0.0.1", daemon.mqtt_port, keepalive=30, **({} if clean else {"clean_start": True}))
        self.client.loop_start()
        [code] = self._wait(
            "an answer to its connection", lambda: self._connected or (self._ended and [self._ended[0]])
        )
        if code.is_failure:
            self.client.loop_stop()
            raise Refused(code)

    @classmethod
    def start(cls, daemon, fixture, secret, **how):
        """Connects with its will, and subscribes to all that it may hear."""
        firmware = cls(daemon, fixture, secret, will=(f"fixtures/{fixture}/alive", '{"alive":false}'), **how)
        for what in DOWNWARD:
            [code] = firmware.subscribe(f"fixtures/{fixture}/{what}")
            assert not code.is_failure, f"{what}: {code}"
        return firmware

    def _note(self, into, what):
        with self._news:
            into(what)
            self._news.notify_all()

    def _wait(self, what, probe):
        end = time.monotonic() + PATIENCE
        with self._news:
            while not (found := probe()):
                left = end - time.monotonic()
                if left <= 0:
                    raise AssertionError(f"{self.fixture} waited in vain for {what}; it heard {self.heard}")
                self._news.wait(left)
            return found

    def subscribe(self, topic):
        """Subscribes; gives the broker's reason codes."""
        _, mid = self.client.subscribe(topic, self.qos)
        return self._wait(f"an answer to its subscription of {topic}", lambda: self._granted.get(mid))

    def publish(self, topic, payload, retain=False, qos=None):
        """Publishes anything anywhere and waits until it is out, and for QoS 1 until the broker's word is here.

        Gives the broker's reason code. MQTT 3.1.1 has none, nor has QoS 0: Paho then says success.
        """
        info = self.client.publish(topic, payload, self.qos if qos is None else qos, retain)
        return self._wait(f"an acknowledgement on {topic}", lambda: self._taken.get(info.mid))

    def say(self, what, message):
        """Publishes on a topic of its own; a value goes out as JSON."""
        payload = message if isinstance(message, bytes) else json.dumps(message)
        return self.publish(f"fixtures/{self.fixture}/{what}", payload, retain=what == "alive")

    def messages(self, what):
        """What was heard on a topic of its own so far."""
        topic = f"fixtures/{self.fixture}/{what}"
        with self._news:
            return [message for message in self.heard if message.topic == topic]

    def wait(self, what, wanted=lambda message: True):
        """Waits for a message on a topic of its own."""
        topic = f"fixtures/{self.fixture}/{what}"
        fits = lambda message: message.topic == topic and wanted(message)
        return self._wait(f"a message on {topic}", lambda: next(filter(fits, self.heard), None))

    def wait_for_count(self, what, count):
        """Waits until so many messages were heard on a topic of its own, and gives them."""
        topic = f"fixtures/{self.fixture}/{what}"
        fits = lambda: [message for message in self.heard if message.topic == topic]
        return self._wait(f"{count} messages on {topic}", lambda: len(fits()) >= count and fits())

    def wait_ended(self):
        """Waits until the broker has ended the connection."""
        self._wait("the end of its connection", lambda: self._ended)

    def leave(self):
        """Takes leave, so that the will is not sent."""
        self.client.disconnect()
        self.wait_ended()
        self.client.loop_stop()

    def lose_power(self):
        """Ends the connection without a word, as when the power goes: the socket is reset."""
        self.client.loop_stop()
        open_socket = self.client.socket()
        open_socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        open_socket.close()
