"""Fixtures on the PyPI package paho-mqtt: MQTT 3.1.1 and 5.0, with QoS 0 and QoS 1.

Section numbers are those of the OASIS standards MQTT 3.1.1 and MQTT 5.0.
"""

import itertools
import time

import pytest

from documents import same
from firmware import VERSIONS, Firmware, Refused
from waiting import eventually

LOOKS = {
    "default": "evening",
    "fade": 2.0,
    "looks": {
        "evening": {"colours": ["white"], "intensity": 100},
        "greet": {"colours": ["red", "#00f"], "intensity": 50, "span": [0.0, 0.5]},
    },
}

both_versions = pytest.mark.parametrize("version", VERSIONS)
both_versions_and_qualities = pytest.mark.parametrize(("version", "qos"), list(itertools.product(VERSIONS, (0, 1))))


@pytest.fixture
def strip(owner, new_id):
    """A fixture of kind `strip` with two looks, and its secret."""
    fixture = new_id()
    owner.add(fixture, kind="strip")
    assert owner.want(fixture, LOOKS) == 1
    return fixture, owner.enrol(fixture)["secret"]


@pytest.fixture
def start(daemon, strip):
    """Connects the fixture; every connection is ended when the check is over."""
    begun = []

    def connect(**how):
        begun.append(Firmware.start(daemon, *strip, **how))
        return begun[-1]

    yield connect
    for firmware in begun:
        firmware.client.disconnect()
        firmware.client.loop_stop()


def standing(owner, fixture):
    return owner.fixture(fixture)["standing"]


def in_step(owner, fixture):
    eventually(f"{fixture} to be in step", lambda: standing(owner, fixture) == "in-step")
    delta = owner.get(f"/v1/fixtures/{fixture}/delta")
    assert delta.status == 200 and delta.json == {}, delta


@both_versions_and_qualities
def test_a_boot_is_answered_and_a_report_brings_it_in_step(owner, strip, start, version, qos):
    fixture, _ = strip
    before = int(time.time() * 1000)
    firmware = start(version=version, qos=qos)
    firmware.say("boot", {"reason": "brownout", "have": 0, "firmware": "2.1.0", "boots": 40, "rssi": -61})
    desired = firmware.wait("desired", lambda message: not message.retained)
    after = int(time.time() * 1000)
    assert (
        desired.qos == qos
    )  # 3.8.4 of both: delivered at the lesser of the two qualities; the daemon sends with QoS 1
    assert desired.json["rev"] == 1 and same(desired.json["document"], LOOKS), desired
    assert before <= desired.json["now_ms"] <= after
    [[_, look], *_] = desired.json["agenda"]
    assert look == "evening"
    showing = firmware.wait("showing", lambda message: not message.retained).json
    # white at full intensity: every channel at full duty; IEC 61966-2-1 maps 255 to 1, CIE 15 maps L* 100 to 1
    assert (showing["look"], showing["because"], showing["channels"]) == ("evening", "default", [[65535] * 3])
    assert (showing["rev"], showing["span"], showing["motif"], showing["fade_ms"]) == (1, [0, 65535], ["steady"], 2000)
    seen = eventually("the boot to be known", lambda: owner.fixture(fixture)["boot"])
    assert (seen["reason"], seen["have"], seen["firmware"], seen["boots"], seen["rssi"]) == (
        "brownout",
        0,
        "2.1.0",
        40,
        -61,
    )
    assert standing(owner, fixture) == "behind"
    firmware.say("reported", {"rev": 1, "patch": desired.json["document"]})
    in_step(owner, fixture)
    assert same(owner.get(f"/v1/fixtures/{fixture}/reported").json, LOOKS)


@both_versions_and_qualities
def test_an_edit_arrives_as_patch_as_whole_and_as_what_shows(owner, strip, start, version, qos):
    fixture, _ = strip
    firmware = start(version=version, qos=qos)
    firmware.wait("desired")
    patch = {"override": {"look": "greet"}, "fade": None}
    assert owner.merge(f"/v1/fixtures/{fixture}/desired", patch).rev == 2
    heard = firmware.wait("patch")
    assert same(heard.json, {"from": 1, "rev": 2, "patch": patch}) and not heard.retained
    desired = firmware.wait("desired", lambda message: message.json["rev"] == 2)
    assert same(desired.json["document"], owner.desired(fixture))
    showing = firmware.wait("showing", lambda message: message.json["rev"] == 2)
    assert (showing.json["look"], showing.json["because"]) == ("greet", "override")
    # CIE 15: L* 50 is 18.4187 percent of the luminance
    duty = round(0.184187 * 65535)
    assert showing.json["channels"] == [[duty, 0, 0], [0, 0, duty]]
    assert showing.json["span"] in ([0, 32767], [0, 32768])
    assert len(showing.topic) + len(showing.payload) <= 480


@both_versions_and_qualities
def test_what_is_retained_comes_with_the_subscription(start, version, qos):
    firmware = start(version=version, qos=qos)
    # 3.3.1.3 of both: sent because of a new subscription, so with RETAIN 1
    for what in ("desired", "showing"):
        message = firmware.wait(what)
        assert message.retained and message.json["rev"] == 1, message
    assert firmware.messages("patch") == firmware.messages("problem") == []


@both_versions_and_qualities
def test_an_ask_is_answered_with_the_whole_and_is_no_boot(owner, strip, start, version, qos):
    fixture, _ = strip
    firmware = start(version=version, qos=qos)
    firmware.say("ask", {"have": 0})
    desired = firmware.wait("desired", lambda message: not message.retained)
    assert same(desired.json["document"], LOOKS)
    eventually("it to be heard", lambda: owner.fixture(fixture)["heard"])
    assert owner.fixture(fixture)["boots_heard"] == 0


@both_versions_and_qualities
def test_a_wish_is_an_edit_by_the_fixture_and_an_event_is_noted_once(daemon, owner, strip, start, version, qos):
    fixture, _ = strip
    firmware = start(version=version, qos=qos)
    for n in (7, 7, 8):
        firmware.say("event", {"event": "motion", "n": n})
    firmware.say("wish", {"n": 1, "override": {"look": "greet"}})
    firmware.say("wish", {"n": 2, "lit": False})
    firmware.say("wish", {"n": 2, "lit": True})
    firmware.say("wish", {"n": 3, "override": None})
    firmware.wait("desired", lambda message: message.json["rev"] == 4)
    assert same(owner.desired(fixture), {**LOOKS, "lit": False})
    changes = owner.get(f"/v1/fixtures/{fixture}/history?document=desired&via=mqtt&order=oldest").json["changes"]
    assert [change["patch"] for change in changes] == [
        {"override": {"look": "greet"}},
        {"lit": False},
        {"override": None},
    ]
    assert {change["by"] for change in changes} == {f"fixture:{fixture}"}
    # there is no address for events yet, so its own table is read
    events = daemon.rows(
        "SELECT event, n FROM event JOIN fixture ON fixture.key = event.fixture "
        f"WHERE fixture.id = '{fixture}' ORDER BY event.id"
    )
    assert events == [("motion", 7), ("motion", 8)]


@both_versions
def test_a_lost_connection_sends_the_will_and_a_return_is_heard(owner, strip, start, version):
    fixture, _ = strip
    firmware = start(version=version)
    firmware.say("alive", {"alive": True})
    firmware.say("reported", {"rev": 1, "patch": LOOKS})
    in_step(owner, fixture)
    firmware.lose_power()
    # 3.1.2.5 of both: the will is published when the network connection is closed without DISCONNECT
    eventually("it to be silent", lambda: standing(owner, fixture) == "silent")
    assert owner.fixture(fixture)["alive"] is False
    start(version=version).say("alive", {"alive": True})
    in_step(owner, fixture)
    assert owner.fixture(fixture)["alive"] is True


@both_versions
def test_taking_leave_sends_no_will(owner, strip, start, version):
    fixture, _ = strip
    firmware = start(version=version)
    firmware.say("alive", {"alive": True})
    eventually("it to be alive", lambda: owner.fixture(fixture)["alive"])
    # 3.14.4 of both: a DISCONNECT (in 5.0 one with reason 0) makes the will be dropped
    firmware.leave()
    again = start(version=version)
    again.say("boot", {"have": 0, "firmware": "after the leave"})
    eventually("the next boot", lambda: (owner.fixture(fixture)["boot"] or {}).get("firmware") == "after the leave")
    assert owner.fixture(fixture)["alive"] is True


@both_versions
def test_a_wrong_secret_is_refused(daemon, owner, strip, new_id, version):
    fixture, secret = strip
    other = new_id()
    owner.add(other)
    for name, given in (
        (fixture, "wrong"),
        (fixture, ""),
        (other, secret),
        ("nobody", secret),
        ("", ""),
        ("+", secret),
    ):
        with pytest.raises(Refused) as refused:
            Firmware(daemon, name, given, version=version, client_id="some-controller")
        # 3.2.2.3 of 3.1.1: return codes 4 and 5; 3.2.2.2 of 5.0: 0x86 and 0x87; Paho gives both as those of 5.0
        assert refused.value.args[0].value in (0x86, 0x87), refused.value
    firmware = Firmware(daemon, fixture, secret, version=version)
    firmware.leave()


@both_versions
def test_a_new_enrolment_ends_the_old_secret_and_its_connection(daemon, owner, strip, start, version):
    fixture, old = strip
    firmware = start(version=version)
    new = owner.enrol(fixture)["secret"]
    firmware.wait_ended()
    with pytest.raises(Refused):
        Firmware(daemon, fixture, old, version=version)
    Firmware(daemon, fixture, new, version=version).leave()


@both_versions
def test_a_will_for_another_fixture_is_refused(daemon, owner, strip, new_id, version):
    fixture, secret = strip
    other = new_id()
    owner.add(other)
    with pytest.raises(Refused):
        Firmware(daemon, fixture, secret, version=version, will=(f"fixtures/{other}/alive", '{"alive":false}'))
    assert standing(owner, other) == "never-heard"


@both_versions_and_qualities
def test_a_fixture_can_neither_hear_nor_speak_for_another(owner, strip, start, new_id, version, qos):
    fixture, _ = strip
    other = new_id()
    owner.add(other)
    firmware = start(version=version, qos=qos)
    filters = [
        f"fixtures/{other}/desired",
        "fixtures/+/desired",
        "fixtures/#",
        "#",
        "$SYS/#",
        f"fixtures/{fixture}/boot",
    ]
    for topic in [*filters, f"$share/a/fixtures/{other}/desired"]:
        # 3.9.3 of both: 0x80 and above is a failure
        assert all(code.is_failure for code in firmware.subscribe(topic)), topic
    for topic in [f"fixtures/{other}/boot", f"fixtures/{other}/desired", f"fixtures/{fixture}/desired", "$SYS/x"]:
        code = firmware.publish(topic, '{"have":0,"rev":99,"document":{}}')
        if version == "5.0" and qos == 1:
            assert code.value == 0x87, f"{topic}: {code}"  # 3.4.2.1 of 5.0: not authorized
    if version == "3.1.1" or qos == 0:
        # neither has a way to say so, and the daemon says it on the problem topic
        firmware.wait("problem", lambda message: "may not publish" in message.json["detail"])
    # an edit of the other's, then one of its own: when that has come, the other's would have come too
    assert owner.merge(f"/v1/fixtures/{other}/desired", {"lit": False}).rev == 1
    assert owner.merge(f"/v1/fixtures/{fixture}/desired", {"lit": False}).rev == 2
    firmware.wait("desired", lambda message: message.json["rev"] == 2)
    assert {message.topic.split("/")[1] for message in firmware.heard} == {fixture}
    assert all(message.json["rev"] != 99 for message in firmware.messages("desired"))
    assert standing(owner, other) == "never-heard"


BAD = [
    ("boot", b'{"have":-1}', "/have"),
    ("boot", b'{"reason":"bored"}', "/reason"),
    ("ask", b'{"have":1e999}', "/have"),
    ("reported", b'{"patch":{}}', "/rev"),
    ("reported", b'{"rev":99}', "/rev"),
    ("reported", b'{"rev":1,"patch":{"a":1,"a":2}}', "/patch/a"),
    ("event", b'{"event":"motion"}', "/n"),
    ("wish", b'{"n":1,"looks":{}}', "/looks"),
    ("wish", b'{"n":2,"override":{"look":"nowhere"}}', "/override/look"),
    ("alive", b"\xff\xfe", ""),
    ("alive", b"[true]", ""),
]


@both_versions_and_qualities
def test_a_bad_message_is_answered_with_a_problem_and_changes_nothing(owner, strip, start, version, qos):
    fixture, _ = strip
    firmware = start(version=version, qos=qos)
    # at most ten problems in ten seconds are said to one fixture, so each run takes a share
    share = BAD[: len(BAD) // 2] if qos else BAD[len(BAD) // 2 :]
    for count, (what, payload, pointer) in enumerate(share, 1):
        firmware.say(what, payload)
        problem = firmware.wait_for_count("problem", count)[-1]
        assert len(firmware.messages("problem")) == count
        # RFC 9457, section 3.1: a type, a title, a detail; and our own members
        assert {"type", "title", "detail", "topic"} <= problem.json.keys(), problem
        assert problem.json["topic"] == f"fixtures/{fixture}/{what}"
        assert problem.json.get("pointer", "") == pointer, problem
        assert not problem.retained
    assert same(owner.desired(fixture), LOOKS)
    assert owner.get(f"/v1/fixtures/{fixture}/reported").json == {}
    assert owner.fixture(fixture)["boots_heard"] == 0
