# The smallest firmware, in plain Python: it takes `showing` messages alone, which say everything.
#
# On a controller it runs on MicroPython with its library umqtt.simple; on a PC on CPython with paho-mqtt, where it prints
# in place of a strip. What is set up is what enrolment prints. A controller has it in a file `fixture_settings.py` of lines
# such as ID = "porch"; on a PC it comes from the environment: FIXTURE_ID, FIXTURE_SECRET, FIXTURE_HOST, FIXTURE_PORT,
# FIXTURE_PREFIX, FIXTURE_FIRST_WAIT_MS.
#
#   FIXTURE_ID=porch FIXTURE_SECRET=... FIXTURE_PORT=1883 python showing.py
#
# It shows the motif `steady`, and the colours of any other without moving, on a strip of three colours; it crosses from
# look to look, and keeps below its ceiling. Look for "Last Will", "boot", "retained", "pause" and "ask" below.

import json
import random
import time

# The strip as built, and what is safe before anything was heard: these belong into the firmware.
PIXELS = 30
ORDER = (1, 0, 2)  # the bytes of a pixel: green, red, blue
CHANNEL_MILLIAMPS = 20  # a channel at full duty
IDLE_MILLIAMPS = 1  # a pixel that shows nothing
LOW_CEILING_MILLIAMPS = 150
FIRST_LOOK = {"channels": [[2600, 1100, 260]]}

KEEP_ALIVE_S = 30
WILL_QOS = 0  # that of all else: a report that the will overtakes would be a sign of life
LEAST_FADE_MS = 400  # no change is quicker, so that changes which follow each other do not flash
FRAME_MS = 20


# ---- from a look to bytes


def picture(showing, pixels):
    """The linear duty of red, green and blue of each pixel, 0 to 65535, without a motif."""
    colours = [[min(max(int(duty), 0), 65535) for duty in colour[:3]] for colour in showing["channels"][:8]]
    start, end = sorted(min(max(int(part), 0), 65535) for part in showing.get("span", (0, 65535)))
    # a pixel belongs to the span when its middle does; at least one does
    first = (2 * start * pixels + 65534) // 131070
    count = (2 * end * pixels + 65535) // 131070 - first
    if count <= 0:
        first, count = min((start + end) * pixels >> 17, pixels - 1), min(pixels, 1)
    shown = [[0, 0, 0] for _ in range(pixels)]
    last = len(colours) - 1
    step = (last << 28) // (count - 1) if count > 1 else 0
    for index in range(count):
        # the first colour on the first pixel, the last on the last, mixed between in parts of 65536
        hue = last << 28 if index == count - 1 and count > 1 else index * step
        along = (hue + 2048) >> 12
        weight = along & 65535
        here, there = colours[along >> 16], colours[min((along >> 16) + 1, last)]
        shown[first + index] = [(a * (65536 - weight) + b * weight + 32768) >> 16 for a, b in zip(here, there)]
    # the floor of a walkway lies beneath every pixel, also beyond the span
    floor = [min(max(int(duty), 0), 65535) for duty in (showing.get("floor") or (0, 0, 0))[:3]]
    return [[max(duty, least) for duty, least in zip(pixel, floor)] for pixel in shown]


def crossed(before, after, part):
    """One picture mixed into another by a part of 65536, eased."""
    part = part * part * (3 * 65536 - 2 * part) >> 32
    return [
        [(a * (65536 - part) + b * part + 32768) >> 16 for a, b in zip(one, other)] for one, other in zip(before, after)
    ]


def frame(shown):
    """The bytes of a strip: each duty rounded half up to 8 bits."""
    return bytearray((pixel[channel] * 255 + 32767) // 65535 for pixel in shown for channel in ORDER)


def limited(data, ceiling_milliamps, pixels):
    """Dims a frame as a whole, by one factor, until it draws no more than the ceiling. Gives the milliamperes."""
    lit = sum(data) * CHANNEL_MILLIAMPS
    room = max(ceiling_milliamps - IDLE_MILLIAMPS * pixels, 0) * 255
    if lit > room:
        factor = room * 65536 // lit
        for index in range(len(data)):
            data[index] = data[index] * factor >> 16
    return (sum(data) * CHANNEL_MILLIAMPS + 254) // 255 + IDLE_MILLIAMPS * pixels


def random_part(ms):
    return ms * random.getrandbits(24) >> 24


# ---- what MicroPython and CPython do differently

try:
    from umqtt.simple import MQTTClient, MQTTException

    import machine
    import neopixel

    import fixture_settings

    PIN = neopixel.NeoPixel(machine.Pin(getattr(fixture_settings, "PIN", 4)), PIXELS)

    def setting(name, otherwise=None):
        value = getattr(fixture_settings, name, otherwise)
        if value is None:
            raise ValueError(name + " is missing in fixture_settings.py: enrolment prints it")
        return value

    TICKS = [time.ticks_ms(), 0]

    def uptime_ms():
        # the ticks begin anew after some days, so their differences are added up
        now = time.ticks_ms()
        TICKS[1] += time.ticks_diff(now, TICKS[0])
        TICKS[0] = now
        return TICKS[1]

    def sleep_ms(ms):
        time.sleep_ms(ms)

    def light(data, milliamps):
        PIN.buf[:] = data
        PIN.write()

    class Refused(Exception):
        pass

    # a packet that is cut short comes out as one of the later ones
    TROUBLE = (OSError, MQTTException, AssertionError, IndexError, TypeError)

    class Link:
        """One connection. It knows no retain flag, and nothing here needs it."""

        def __init__(self, settings, will_topic, heard):
            self.client = MQTTClient(
                settings["id"],
                settings["host"],
                settings["port"],
                settings["id"],
                settings["secret"],
                KEEP_ALIVE_S,
            )
            self.client.set_last_will(will_topic, b'{"alive":false}', True, WILL_QOS)
            self.client.set_callback(lambda topic, payload: heard(topic.decode(), payload, None))
            self.pinged = uptime_ms()

        def connect(self):
            try:
                self.client.connect()
            except MQTTException as refusal:
                raise Refused(refusal.args[0])

        def subscribe(self, topic):
            self.client.subscribe(topic, 0)

        def publish(self, topic, payload, retain):
            self.client.publish(topic, payload, retain, 0)

        def wait(self, ms):
            self.client.check_msg()
            if uptime_ms() - self.pinged > KEEP_ALIVE_S * 500:
                self.client.ping()
                self.pinged = uptime_ms()
            time.sleep_ms(ms)

        def close(self):
            try:
                self.client.sock.close()
            except (OSError, AttributeError):
                pass

except ImportError:
    import os

    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion

    def setting(name, otherwise=None):
        value = os.environ.get("FIXTURE_" + name, otherwise)
        if value is None:
            raise ValueError("FIXTURE_" + name + " is missing: enrolment prints it")
        return value

    def uptime_ms():
        return int(time.monotonic() * 1000)

    def sleep_ms(ms):
        time.sleep(ms / 1000)

    PRINTED = []

    def light(data, milliamps):
        # GRB, so the second byte is red
        line = "strip first=#%02x%02x%02x drawn=%dmA" % (data[1], data[0], data[2], milliamps)
        if PRINTED != [line]:
            PRINTED[:] = [line]
            print(line)

    class Refused(Exception):
        pass

    TROUBLE = (OSError,)

    class Link:
        """One connection."""

        def __init__(self, settings, will_topic, heard):
            self.settings = settings
            self.answers = []
            self.client = Client(
                CallbackAPIVersion.VERSION2, client_id=settings["id"], clean_session=True, reconnect_on_failure=False
            )
            self.client.username_pw_set(settings["id"], settings["secret"])
            self.client.will_set(will_topic, '{"alive":false}', WILL_QOS, True)
            self.client.on_connect = lambda client, data, flags, code, properties: self.answers.append(code)
            self.client.on_message = lambda client, data, message: heard(message.topic, message.payload, message.retain)

        def connect(self):
            self.client.connect(self.settings["host"], self.settings["port"], KEEP_ALIVE_S)
            begun = uptime_ms()
            # nothing is sent before the broker's answer: the will of an older connection comes first
            while not self.answers:
                if self.client.loop(FRAME_MS / 1000) != 0 and not self.answers:
                    raise OSError("the connection is lost")
                if uptime_ms() - begun > 10000:
                    raise OSError("the broker does not answer")
            if self.answers[0].is_failure:
                raise Refused(str(self.answers[0]))

        def subscribe(self, topic):
            self.client.subscribe(topic, 0)

        def publish(self, topic, payload, retain):
            self.client.publish(topic, payload, 0, retain)

        def wait(self, ms):
            if self.client.loop(ms / 1000) != 0:
                raise OSError("the connection is lost")

        def close(self):
            socket = self.client.socket()
            if socket is not None:
                socket.close()


# ---- the rules


class Pause:
    """Pauses that double from a first length to a longest one, each drawn from the upper half of its length."""

    def __init__(self, first_ms=1000, most_ms=60000):
        self.first_ms, self.most_ms, self.length_ms = first_ms, most_ms, first_ms

    def next(self):
        length = self.length_ms
        self.length_ms = min(length * 2, self.most_ms)
        return length // 2 + random_part(length - length // 2)

    def reset(self):
        self.length_ms = self.first_ms


class Fixture:
    def __init__(self):
        self.settings = {
            "id": setting("ID"),
            "secret": setting("SECRET"),
            "host": setting("HOST", "127.0.0.1"),
            "port": int(setting("PORT", "1883")),
        }
        self.prefix = setting("PREFIX", "fixtures")
        self.link = None
        # what is held: the revision, and the daemon's time when it was sent, which orders messages of one revision
        self.rev, self.now_ms = 0, 0
        self.booted, self.answered = False, False
        self.waits = True
        self.asks, self.ask_at = Pause(), 0
        self.ceiling_milliamps = LOW_CEILING_MILLIAMPS
        self.before = [[0, 0, 0] for _ in range(PIXELS)]
        self.after, self.begun, self.fade_ms = picture(FIRST_LOOK, PIXELS), uptime_ms(), 1000

    def topic(self, what):
        return "%s/%s/%s" % (self.prefix, self.settings["id"], what)

    def say(self, what, message, retain=False):
        # QoS 0 does: what may have been lost is asked for, or said again when the daemon sends again
        self.link.publish(self.topic(what), json.dumps(message), retain)

    def heard(self, topic, payload, retained):
        try:
            message = json.loads(payload)
            if topic == self.topic("showing"):
                self.on_showing(message, retained)
            elif topic == self.topic("problem"):
                self.on_problem(message)
        except (ValueError, KeyError, TypeError, IndexError, AttributeError) as fault:
            print("a message that cannot be read:", topic, fault)

    def on_showing(self, showing, retained):
        # all that can be wrong with it comes first, so that half a message changes nothing
        rev, now_ms, after = int(showing["rev"]), int(showing["now_ms"]), picture(showing, PIXELS)
        fade_ms = int(showing.get("fade_ms", 0))
        ceiling_milliamps = int(showing.get("ceiling_milliamps", self.ceiling_milliamps))
        if rev < self.rev:
            return
        # A retained message is stored news of unknown age. What it says to show is right; its now_ms would set no clock,
        # if there was one here: `steady` needs none.
        newer = rev > self.rev or now_ms > self.now_ms or (self.waits and not retained and now_ms != self.now_ms)
        if newer:
            self.rev, self.now_ms = rev, now_ms
            if after != self.after:
                self.before = self.now_shown()
                self.after, self.begun = after, uptime_ms()
                self.fade_ms = max(fade_ms, LEAST_FADE_MS)
            self.ceiling_milliamps = ceiling_milliamps
            print("showing rev=%d look=%s retained=%s" % (rev, showing.get("look", ""), retained))
        self.waits = False
        self.answered = self.answered or not retained
        self.asks.reset()
        # A live message says that the daemon may have missed the report. Where the flag is not known every message counts
        # as live: one report too many changes nothing.
        if newer or not retained:
            self.say("reported", {"rev": self.rev})

    def on_problem(self, problem):
        print("problem", problem.get("detail"))
        if problem.get("type") == "/problems/never-given" and self.rev > 0:
            # the daemon was put back to an older copy: forget, and ask for what there is
            self.rev, self.now_ms, self.waits, self.ask_at = 0, 0, True, uptime_ms()

    def say_what_is_due(self):
        now = uptime_ms()
        if not self.booted:
            # once after power-on, and again only if the connection broke before anything live was heard
            self.say("boot", {"reason": "power-on", "have": self.rev, "firmware": "example-py"})
            self.booted = True
        elif self.waits and now >= self.ask_at:
            # no answer has come, or the connection was lost without a loss of power
            self.say("ask", {"have": self.rev})
        else:
            return
        self.ask_at = now + self.asks.next()

    def now_shown(self):
        gone = uptime_ms() - self.begun
        if gone < 0 or gone >= self.fade_ms:
            return self.after
        return crossed(self.before, self.after, gone * 65536 // self.fade_ms)

    def show(self):
        data = frame(self.now_shown())
        milliamps = limited(data, self.ceiling_milliamps, PIXELS)
        light(data, milliamps)

    def rest(self, ms):
        begun = uptime_ms()
        while 0 <= uptime_ms() - begun < ms:
            self.show()
            sleep_ms(FRAME_MS)

    def connection(self):
        # the Last Will is made with the connection: the broker says it when the fixture is gone
        self.link = Link(self.settings, self.topic("alive"), self.heard)
        self.link.connect()
        print("connected")
        self.link.subscribe(self.topic("showing"))
        self.link.subscribe(self.topic("problem"))
        self.say("alive", {"alive": True}, True)
        # an ask, not a boot: power was not lost
        self.booted = self.booted and self.answered
        self.waits, self.ask_at = True, uptime_ms()
        while True:
            self.say_what_is_due()
            self.link.wait(FRAME_MS)
            self.show()

    def run(self):
        pause = Pause()
        # a house that got its power back does not connect at one instant
        self.rest(random_part(int(setting("FIRST_WAIT_MS", "3000"))))
        while True:
            begun = uptime_ms()
            try:
                self.connection()
            except Refused as refusal:
                print("refused:", refusal, "(is the secret that of the last enrolment?)")
            except TROUBLE as fault:
                print("no connection:", fault)
            self.link.close()
            if uptime_ms() - begun > 10000:
                pause.reset()
            length = pause.next()
            print("again in", length, "ms")
            self.rest(length)


if __name__ == "__main__":
    Fixture().run()
