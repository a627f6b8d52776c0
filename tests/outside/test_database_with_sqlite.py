"""What the daemon writes, in the hands of plain SQLite: the `sqlite3` shell and Python's own module."""

import json
import sqlite3
import subprocess

import json_merge_patch
import pytest

from documents import same
from programs import plain_environment, program

ODD = {
    "note": 'it\'s "quoted"; -- not a comment\nand\ttabbed — ünïcode 💡 \u0001 \\ %',
    "numbers": [1, -0.5, 1e300, 5e-324, 9007199254740993, 18446744073709551615],
    "nothing": [None, [], {}, "", {"inside": None}],
    "a/b": {"m~n": True},
}
PAPERS = {1: "desired", 2: "reported"}
"""The numbers that documents have in a slot: fixture key * 8 + one of these."""


@pytest.fixture
def house(own_daemon):
    """A daemon with some fixtures, one of them taken away and made anew."""
    owner = own_daemon.owner
    for fixture in ("hall", "stairs", "jetty"):
        owner.add(fixture, kind="free")
    owner.want("hall", ODD)
    for n in range(70):  # more than 64 revisions, so that there is a snapshot in between
        owner.merge("/v1/fixtures/stairs/desired", {"n": n, "text": f"'{n}'"})
    owner.want("jetty", {"old": True})
    assert owner.send("DELETE", "/v1/fixtures/jetty").status in (200, 204)
    owner.add("jetty", kind="free")
    return own_daemon


def documents(connection):
    """Documents by fixture and name, with their revisions, as the database holds them.

    History is the truth. Documents follow it: the setting `settled`, where there is one, names the last row of history
    that they cover, and the rows after it are laid upon them here by the PyPI package json-merge-patch 0.3.0.
    """
    held = {
        slot: (revision, json.loads(body))
        for slot, revision, body in connection.execute("SELECT slot, revision, body FROM document")
    }
    settled = connection.execute("SELECT value FROM setting WHERE name = 'settled'").fetchone()
    later = connection.execute(
        "SELECT slot, revision, patch FROM history WHERE id > ? ORDER BY id",
        (2**62 if settled is None else int(settled[0]),),
    )
    for slot, revision, patch in later.fetchall():
        before, document = held.get(slot, (0, {}))
        assert revision == before + 1, (slot, revision, before)
        held[slot] = (revision, json_merge_patch.merge(document, json.loads(patch)))
    fixtures = connection.execute("SELECT key, id FROM fixture WHERE deleted IS NULL").fetchall()
    return {
        (fixture, name): held[key << 3 | paper]
        for key, fixture in fixtures
        for paper, name in PAPERS.items()
        if key << 3 | paper in held
    }


def agrees_with_http(connection, owner):
    """Everything that HTTP says of the documents and of history is in the database, and nothing else."""
    held = documents(connection)
    for fixture in ("hall", "stairs", "jetty"):
        about = owner.fixture(fixture)
        for paper in PAPERS.values():
            said = owner.get(f"/v1/fixtures/{fixture}/{paper}")
            rev, document = held.pop((fixture, paper), (0, {}))
            assert about[paper]["rev"] == rev and same(said.json, document), (fixture, paper)
    assert held == {}
    changes = owner.get("/v1/history?limit=1000&order=oldest").json["changes"]
    rows = connection.execute("SELECT id, revision, patch, inverse FROM history ORDER BY id").fetchall()
    assert [(change["id"], change["rev"]) for change in changes] == [row[:2] for row in rows]
    for change, (_, _, patch, inverse) in zip(changes, rows, strict=True):
        assert same(change["patch"], json.loads(patch)) and same(change["inverse"], json.loads(inverse)), change


def test_a_dump_loads_into_the_sqlite3_shell_and_holds_what_http_says(house, tmp_path):
    text = house.run("dump")
    loaded = tmp_path / "loaded.sqlite"
    shell = subprocess.run(
        [program("sqlite3"), "-bail", "-batch", loaded],
        input=text,
        capture_output=True,
        env=plain_environment(),
        check=False,
    )
    assert shell.returncode == 0 and shell.stderr == b"", shell
    with sqlite3.connect(loaded) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        agrees_with_http(connection, house.owner)
    connection.close()


def test_a_backup_that_is_downloaded_is_a_sound_database_that_holds_what_http_says(house, tmp_path):
    owner = house.owner
    made = owner.post("/v1/backups")
    assert made.status == 201, made
    answer = owner.get(f"/v1/backups/{made.json['name']}")
    assert answer.status == 200 and len(answer.body) == made.json["bytes"], made
    # the file format's first 16 bytes: sqlite.org/fileformat2.html, section 1.3.1
    assert answer.body.startswith(b"SQLite format 3\x00")
    path = tmp_path / "backup.sqlite"
    path.write_bytes(answer.body)
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    agrees_with_http(connection, owner)
    connection.close()
    assert [backup["name"] for backup in owner.get("/v1/backups").json["backups"]] == [made.json["name"]]


def test_secrets_and_tokens_are_nowhere_in_the_database(house, tmp_path):
    secret = house.owner.enrol("hall")["secret"]
    token = house.owner.post("/v1/tokens", {"name": "tablet", "scope": "read"}).json["token"]
    files = [path for path in house.data.rglob("*") if path.is_file()]
    assert any(path.name == "sconced.sqlite" for path in files)
    for path in files:
        content = path.read_bytes()
        assert secret.encode() not in content and token.encode() not in content, path
    assert secret not in house.log_path.read_text() and token not in house.log_path.read_text()
