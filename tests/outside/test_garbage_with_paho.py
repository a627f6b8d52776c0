"""Random payloads on every topic that a fixture may publish on: the daemon stays, answers, and has changed nothing."""

import json
import random

import pytest

from documents import same
from firmware import UPWARD, VERSIONS, Firmware
from waiting import eventually

EACH = 200
"""Payloads on each topic."""

LOOKS = {"default": "evening", "looks": {"evening": {"colours": ["wheat"], "intensity": 40}}}

GOOD = {
    "boot": {"reason": "power-on", "have": 1, "firmware": "2.1.0", "boots": 3, "rssi": -61},
    "ask": {"have": 1},
    "reported": {"rev": 1, "patch": {"rssi": -60}},
    "event": {"event": "motion", "n": 1},
    "wish": {"n": 1, "lit": False},
    "alive": {"alive": True},
}
MOST = 9_007_199_254_740_991
"""The most that a number which firmware counts with may be."""
WRONG = ["", "x" * 65, [], [1], {}, {"a": None}, None, -1, 1.5, MOST + 1, 1e300]
"""What hardly a member of these messages may be: `patch` may be an object, and -1 dBm is a strong signal."""


def random_value(chance, depth=0):
    """A random JSON value; no member has a name that a message knows."""
    kind = chance.randrange(7 if depth < 5 else 5)
    if kind == 0:
        return chance.choice([None, True, False])
    if kind == 1:
        return chance.randint(-(2**70), 2**70)
    if kind == 2:
        return chance.uniform(-1, 1) * 10.0 ** chance.randint(-300, 300)
    if kind in (3, 4):
        return "".join(
            chr(chance.choice([chance.randrange(1, 128), chance.randrange(0xA0, 0xD800)]))
            for _ in range(chance.randrange(20))
        )
    if kind == 5:
        return [random_value(chance, depth + 1) for _ in range(chance.randrange(5))]
    return {
        f"x{chance.randrange(9)}{'y' * chance.randrange(300)}": random_value(chance, depth + 1)
        for _ in range(chance.randrange(5))
    }


def garbage(chance, what):
    """A payload that is no message for this topic, or at most one that changes no document, such as an empty boot."""
    good = json.dumps(GOOD[what]).encode()
    kind = chance.randrange(7)
    if kind == 0:
        return chance.randbytes(chance.randrange(1, 400))
    if kind == 1:
        return good[: chance.randrange(1, len(good) - 1)]  # cut off
    if kind == 2:
        place = chance.randrange(len(good))  # a byte that is never in UTF-8 (RFC 3629, section 1)
        return good[:place] + bytes([chance.randrange(0xF8, 0x100)]) + good[place:]
    if kind == 3:
        return chance.choice([b"[", b'{"a":', b'{"patch":', b'{"rev":1,"patch":', b"-", b'"\\u']) * chance.randrange(
            1, 3000
        )
    if kind == 4:
        value = random_value(chance)
        return json.dumps(value if isinstance(value, (dict, list)) else [value]).encode()
    if kind == 5:
        return good + chance.choice([b"x", b"{}", b",", b"\x00", good])  # something after it
    name = chance.choice(list(GOOD[what]))
    wrong = chance.choice([value for value in WRONG if name != "patch" or not isinstance(value, dict)])
    return json.dumps({**GOOD[what], name: wrong}).encode()


@pytest.mark.parametrize("version", VERSIONS)
def test_random_payloads_change_nothing(own_daemon, version):
    owner = own_daemon.owner
    owner.add("hall")
    owner.add("stairs")
    assert owner.want("hall", LOOKS) == 1
    firmware = Firmware.start(own_daemon, "hall", owner.enrol("hall")["secret"], version=version)
    state = lambda: own_daemon.rows("SELECT slot, revision, drift, body FROM document ORDER BY slot")
    history = lambda: own_daemon.rows("SELECT count(*), max(id) FROM history")
    # the table of documents follows history within moments
    behind = "SELECT count(*) FROM setting WHERE name = 'settled'"
    eventually("documents that have followed history", lambda: own_daemon.rows(behind)[0][0] == 0)
    before = state(), history()
    chance = random.Random(7396)  # always the same, so that a red check stays red
    payloads = [(what, garbage(chance, what)) for what in UPWARD for _ in range(EACH)]
    chance.shuffle(payloads)
    topic = "fixtures/hall/{}".format
    waiting = [firmware.client.publish(topic(what), payload, qos=1) for what, payload in payloads]
    for info in waiting:
        info.wait_for_publish(60)
        assert info.is_published()
    # messages of one client are taken in their order (MQTT 3.1.1 and 5.0, section 4.6), so this one comes last
    firmware.say("boot", {"reason": "software", "have": 0, "firmware": "after it all"})
    eventually("the last boot", lambda: (owner.fixture("hall")["boot"] or {}).get("firmware") == "after it all")
    eventually("documents that have followed history", lambda: own_daemon.rows(behind)[0][0] == 0)
    assert (state(), history()) == before
    assert own_daemon.process.poll() is None
    assert owner.get("/healthz").status == owner.get("/readyz").status == 200
    assert owner.fixture("stairs")["standing"] == "never-heard"
    # it still serves: the boot was answered, a report is taken, an edit arrives
    desired = firmware.wait("desired", lambda message: not message.retained)
    assert same(desired.json["document"], LOOKS)
    firmware.say("reported", {"rev": 1, "patch": LOOKS})
    eventually("it to be in step", lambda: owner.fixture("hall")["standing"] == "in-step")
    assert owner.merge("/v1/fixtures/hall/desired", {"lit": False}).rev == 2
    firmware.wait("desired", lambda message: message.json["rev"] == 2)
    # it was told, but not flooded with echoes
    assert 1 <= len(firmware.messages("problem")) <= 100
    firmware.leave()
