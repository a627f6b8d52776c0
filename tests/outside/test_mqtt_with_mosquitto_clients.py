"""Fixtures that are Mosquitto's command-line clients: `mosquitto_pub` and `mosquitto_sub`, with both MQTT versions."""

import json
import queue
import subprocess
import threading

import pytest

from documents import same
from programs import plain_environment, program
from waiting import PATIENCE, eventually

LOOKS = {"default": "evening", "looks": {"evening": {"kelvin": 2400, "intensity": 70}}}

pytestmark = pytest.mark.parametrize("version", ["mqttv311", "mqttv5"])


class Subscriber:
    """A running `mosquitto_sub`. Each line that it prints is the retain flag, the topic and the payload."""

    def __init__(self, command):
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=plain_environment(),
        )
        self._lines = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self.process.stdout:
            self._lines.put(line)

    def next(self):
        """The next message: whether it was retained, the last level of its topic, and its payload as JSON."""
        flag, topic, payload = self._lines.get(timeout=PATIENCE).split(" ", 2)
        return flag == "1", topic.rsplit("/", 1)[1], json.loads(payload)

    def kill(self):
        self.process.kill()
        self.process.communicate()


class Clients:
    """Both programs as one fixture."""

    def __init__(self, daemon, fixture, secret, version):
        self.fixture, self.running = fixture, []
        self.login = ["-h", "127.0.0.1", "-p", str(daemon.mqtt_port), "-V", version, "-u", fixture, "-P", secret]

    def subscribe(self, *what, more=()):
        topics = [word for last in what for word in ("-t", f"fixtures/{self.fixture}/{last}")]
        command = [program("mosquitto_sub"), *self.login, "-i", self.fixture, "-q", "1", "-F", "%r %t %p"]
        self.running.append(Subscriber([*command, *topics, *more]))
        return self.running[-1]

    def publish(self, what, message, *more):
        # under another client id, since the fixture's own is that of its subscriber (MQTT 3.1.1, 3.1.4-2)
        topic = ["-i", f"{self.fixture}-publisher", "-q", "1", "-t", f"fixtures/{self.fixture}/{what}"]
        return subprocess.run(
            [program("mosquitto_pub"), *self.login, *topic, "-m", json.dumps(message), *more],
            capture_output=True,
            text=True,
            timeout=PATIENCE,
            check=False,
            env=plain_environment(),
        )


@pytest.fixture
def strip(owner, new_id):
    fixture = new_id()
    owner.add(fixture)
    assert owner.want(fixture, LOOKS) == 1
    return fixture, owner.enrol(fixture)["secret"]


@pytest.fixture
def clients(daemon, strip, version):
    both = Clients(daemon, *strip, version)
    yield both
    for subscriber in both.running:
        subscriber.kill()


def published(done):
    assert done.returncode == 0, done.stderr


def test_retained_state_comes_with_the_subscription(clients):
    subscriber = clients.subscribe("desired", "showing")
    heard = {what: (retained, message) for retained, what, message in (subscriber.next(), subscriber.next())}
    retained, desired = heard["desired"]
    assert retained
    assert desired["rev"] == 1
    assert same(desired["document"], LOOKS)
    retained, showing = heard["showing"]
    assert retained
    assert (showing["rev"], showing["look"], showing["because"]) == (1, "evening", "default")


def test_a_boot_is_answered_and_a_report_brings_it_in_step(owner, clients):
    subscriber = clients.subscribe("desired")
    assert subscriber.next()[0]  # the retained one: the subscription stands
    published(clients.publish("boot", {"reason": "power-on", "have": 0}))
    retained, _, desired = subscriber.next()
    assert not retained
    assert same(desired["document"], LOOKS)
    published(clients.publish("reported", {"rev": desired["rev"], "patch": desired["document"]}))
    path = f"/v1/fixtures/{clients.fixture}"
    eventually("it to be in step", lambda: owner.get(path).json["standing"] == "in-step")
    assert owner.get(f"{path}/delta").json == {}
    assert same(owner.get(f"{path}/reported").json, LOOKS)


def test_an_edit_arrives_as_a_patch_and_as_the_whole(owner, clients):
    # one SUBSCRIBE names both: when what is retained on the second has come, the first stands too
    subscriber = clients.subscribe("patch", "desired")
    assert subscriber.next()[:2] == (True, "desired")
    edit = {"looks": {"evening": {"intensity": 30}}, "fade": 1}
    assert owner.merge(f"/v1/fixtures/{clients.fixture}/desired", edit).rev == 2
    heard = {what: (retained, message) for retained, what, message in (subscriber.next(), subscriber.next())}
    retained, patch = heard["patch"]
    assert not retained
    assert same(patch, {"from": 1, "rev": 2, "patch": edit})
    # what comes because of its publication, not of a subscription, has RETAIN 0 (3.3.1.3 of both versions)
    retained, desired = heard["desired"]
    assert not retained
    assert same(desired["document"], owner.desired(clients.fixture))


def test_a_killed_client_leaves_its_will(owner, clients):
    topic = f"fixtures/{clients.fixture}/alive"
    will = ["--will-topic", topic, "--will-payload", '{"alive":false}', "--will-qos", "1", "--will-retain"]
    subscriber = clients.subscribe("desired", more=will)
    assert subscriber.next()[0]
    published(clients.publish("alive", {"alive": True}, "-r"))
    path = f"/v1/fixtures/{clients.fixture}"
    eventually("it to be alive", lambda: owner.get(path).json["alive"] is True)
    subscriber.kill()
    eventually("it to be silent", lambda: owner.get(path).json["standing"] == "silent")


def test_a_wrong_secret_is_refused(daemon, owner, strip, version):
    fixture, _ = strip
    done = Clients(daemon, fixture, "wrong", version).publish("boot", {"have": 0})
    # return code 4 of MQTT 3.1.1 (3.2.2.3), reason 0x86 of 5.0 (3.2.2.2), in the program's words
    assert done.returncode != 0
    assert "bad user name or password" in done.stderr.lower()
    assert owner.fixture(fixture)["standing"] == "never-heard"
