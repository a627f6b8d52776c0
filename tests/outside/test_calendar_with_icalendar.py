"""The agenda as a calendar, read by the PyPI package icalendar 7.3.2, and the timetable against Python's zoneinfo.

Everything is asked about in years ahead, so that it makes no difference when this runs.
"""

import random
import re
import zoneinfo
from datetime import UTC, date, datetime, time, timedelta

import icalendar
import pytest

YEAR_BEGINS = datetime(2041, 1, 1, 12, tzinfo=UTC)
YEAR_ENDS = YEAR_BEGINS + timedelta(days=365)

TITLE = 'Reeds, in the hall; "ünusual" \\n ones, 老虎 and 💡, in a title of more than the seventy-five octets of a line'

LATE = 'late, "dim"; back\\slash, 老虎'

WALKWAY = {
    "looks": {"evening": {"kelvin": 2400}, LATE: {"kelvin": 2000, "intensity": 22}, "frost": {"colours": ["azure"]}},
    "default": "evening",
    "floor": 8,
    "timetable": [
        {"start": "sunset", "shift": "-PT30M", "look": "evening"},
        {"start": "22:45", "days": ["mon", "tue", "wed", "thu", "sun"], "look": LATE},
        {"start": "23:45", "days": ["fri", "sat"], "look": LATE},
        {"start": "dawn", "look": "dark"},
        {"start": "sunset", "look": "frost", "dates": ["12-01", "01-06"], "not_before": "16:30"},
    ],
}

WORDS = {"timetable": "By its timetable", "default": "Its default look", "override": "The owner's override"}
"""How the reasons are told in an event's description."""


def text(instant):
    return instant.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def agenda(owner, fixture, begin=YEAR_BEGINS, end=YEAR_ENDS, accept="application/json"):
    answer = owner.get(f"/v1/fixtures/{fixture}/agenda?from={text(begin)}&to={text(end)}", Accept=accept)
    assert answer.status == 200 and answer.media_type == accept, answer
    return answer


def events(body):
    """The events of a calendar; what the package could not read is a fault."""
    calendar = icalendar.Calendar.from_ical(body)
    assert calendar.errors == []
    found = list(calendar.walk("VEVENT"))
    assert all(event.errors == [] for event in found)
    return calendar, found


@pytest.fixture
def walkway(owner, new_id):
    fixture = new_id()
    owner.add(fixture, title=TITLE)
    owner.want(fixture, WALKWAY)
    return fixture


def test_a_year_of_events_says_what_the_agenda_says(owner, walkway):
    changes = agenda(owner, walkway).json["changes"]
    calendar, found = events(agenda(owner, walkway, accept="text/calendar").body)
    assert len(found) == len(changes) > 365 * 3
    for event, change in zip(found, changes, strict=True):
        assert text(event.start) == change["at"] and text(event.end) == change["until"], (event, change)
        assert event["SUMMARY"] == change["look"]
        floor = "; its floor is kept" if change["floored"] else ""
        assert event["DESCRIPTION"] == f"{WORDS[change['because']]}{floor}."
        assert event["TRANSP"] == "TRANSPARENT" and "CATEGORIES" not in event
    # RFC 5545: exactly one VERSION of "2.0" and one PRODID (3.6), one UID for each event (3.8.4.7), DTSTAMP in UTC
    assert calendar["VERSION"] == "2.0" and "sconced" in calendar["PRODID"]
    # NAME is TEXT (RFC 7986, section 5.1), and so is a property of no standard (RFC 5545, section 3.8.8.2). The package
    # leaves both as they are written, so the escapes of section 3.3.11 are read here.
    for name in ("NAME", "X-WR-CALNAME"):
        assert re.sub(r"\\(.)", lambda c: "\n" if c[1] in "nN" else c[1], str(calendar[name])) == TITLE
    assert len({event["UID"] for event in found}) == len(found)
    assert len({event["DTSTAMP"].dt for event in found}) == 1 and found[0]["DTSTAMP"].dt.utcoffset() == timedelta(0)


def test_the_events_follow_each_other_without_a_gap_and_cover_the_year(owner, walkway):
    _, found = events(agenda(owner, walkway, accept="text/calendar").body)
    assert found[0].start <= YEAR_BEGINS and found[-1].end >= YEAR_ENDS
    for one, next_one in zip(found, found[1:], strict=False):
        assert one.start < one.end == next_one.start


def test_no_line_has_more_than_75_octets_and_each_ends_as_the_standard_says(owner, walkway):
    # RFC 5545, section 3.1
    body = agenda(owner, walkway, accept="text/calendar").body
    lines = body.split(b"\r\n")
    assert lines[-1] == b"" and not any(b"\r" in line or b"\n" in line for line in lines)
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    for line in lines:
        line.decode()  # no character is cut


def test_an_event_has_the_same_uid_whenever_it_is_asked_for(owner, walkway):
    later = YEAR_BEGINS + timedelta(days=100, hours=7)
    _, whole = events(agenda(owner, walkway, accept="text/calendar").body)
    _, part = events(agenda(owner, walkway, later, later + timedelta(days=9), "text/calendar").body)
    by_start = {event.start: event["UID"] for event in whole}
    assert len(part) > 20 and all(by_start[event.start] == event["UID"] for event in part)


def test_the_command_line_writes_the_same_year(daemon, owner, walkway, tmp_path):
    file = tmp_path / "year.ics"
    daemon.run("year", walkway, "--from", text(YEAR_BEGINS), "--output", file)
    printed = daemon.run("year", walkway, "--from", text(YEAR_BEGINS))
    asked = events(agenda(owner, walkway, accept="text/calendar").body)[1]
    for body in (file.read_bytes(), printed):
        these = events(body)[1]
        assert [(e["UID"], e.start, e.end) for e in these] == [(e["UID"], e.start, e.end) for e in asked]


def test_showing_says_what_the_agenda_says_at_any_instant_of_a_year(owner, walkway):
    changes = agenda(owner, walkway).json["changes"]
    chance = random.Random(2041)
    instants = [YEAR_BEGINS + timedelta(seconds=chance.randrange(365 * 86400)) for _ in range(250)]
    # and on both sides of changes
    for change in chance.sample(changes[1:], 60):
        at = datetime.fromisoformat(change["at"])
        instants += [at - timedelta(seconds=1), at]
    for instant in instants:
        covering = [c for c in changes if c["at"] <= text(instant) < c["until"]]
        assert len(covering) == 1, text(instant)
        showing = owner.get(f"/v1/fixtures/{walkway}/showing?at={text(instant)}").json
        for member in ("look", "because", "until", "floored"):
            assert showing[member] == covering[0][member], (member, showing, covering[0])
        if showing["because"] == "timetable":
            assert WALKWAY["timetable"][showing["entry"]]["look"] == showing["look"]
        assert (showing["floor"] is not None) == showing["floored"]


@pytest.fixture(scope="module")
def zone():
    """Zones of the PyPI package tzdata 2026.6, whatever the machine has."""

    def read(name):
        path = zoneinfo.TZPATH
        zoneinfo.reset_tzpath(to=())
        try:
            return zoneinfo.ZoneInfo.no_cache(name)
        finally:
            zoneinfo.reset_tzpath(to=path)

    return read


@pytest.mark.parametrize(
    ("name", "place", "switch", "hours"),
    [
        # from the zones' rules in tzdata; Lord Howe Island moves by half an hour
        ("Europe/Amsterdam", (52.37, 4.9), date(2027, 3, 28), 23),
        ("Europe/Amsterdam", (52.37, 4.9), date(2027, 10, 31), 25),
        ("America/New_York", (40.71, -74.01), date(2027, 3, 14), 23),
        ("America/New_York", (40.71, -74.01), date(2027, 11, 7), 25),
        ("Australia/Lord_Howe", (-31.55, 159.08), date(2027, 4, 4), 24.5),
        ("Australia/Lord_Howe", (-31.55, 159.08), date(2027, 10, 3), 23.5),
    ],
)
def test_days_of_23_and_25_hours_are_those_of_zoneinfo(owner, new_id, zone, name, place, switch, hours):
    """RFC 5545, section 3.3.5: a wall time that comes twice is the first, one left out has the offset of before.

    Both is what `fold=0` means to zoneinfo (PEP 495).
    """
    fixture, there = new_id(), zone(name)
    owner.add(fixture, place={"latitude": place[0], "longitude": place[1], "zone": name})
    starts = {"morning": time(1, 30), "gap": time(2, 15), "noon": time(12), "night": time(23, 59, 59)}
    owner.want(
        fixture,
        {
            "looks": {look: {"kelvin": 2700} for look in starts},
            "timetable": [{"start": start.isoformat(), "look": look} for look, start in starts.items()],
        },
    )
    days = [switch + timedelta(days=n) for n in range(-3, 4)]
    begin = datetime.combine(days[0], time(0), there).astimezone(UTC)
    end = datetime.combine(days[-1] + timedelta(days=1), time(0), there).astimezone(UTC)
    _, found = events(agenda(owner, fixture, begin, end, "text/calendar").body)
    # datetime.combine takes fold=0 from the time
    expected = sorted(
        (datetime.combine(day, start, there).astimezone(UTC), look) for day in days for look, start in starts.items()
    )
    assert [(event.start, str(event["SUMMARY"])) for event in found[1:]] == expected
    # from noon to noon over the night of the switch
    noons = {event.start.astimezone(there).date(): event.start for event in found if event["SUMMARY"] == "noon"}
    assert noons[switch] - noons[switch - timedelta(days=1)] == timedelta(hours=hours)


def test_without_a_place_there_is_no_timetable_and_nothing_changes(own_daemon):
    owner = own_daemon.owner
    owner.add("hall")
    owner.want("hall", {key: value for key, value in WALKWAY.items() if key != "timetable"})
    before = own_daemon.rows("select count(*) from history")
    answer = owner.put("/v1/fixtures/hall/desired", WALKWAY)
    assert answer.status == 422 and answer.json["pointer"] == "/timetable/0/start", answer
    for setting in ("site.latitude", "site.longitude", "site.zone"):
        assert setting in answer.json["advice"], answer
    assert owner.get("/v1/sun").json["type"] == "/problems/no-place"
    assert own_daemon.rows("select count(*) from history") == before
