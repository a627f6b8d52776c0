"""The HTTP API as somebody with curl uses it.

It is held against RFC 9110 (HTTP), 9457 (problems), 8288 (links), 5789 (PATCH), 4180 (CSV) and 3339 (times).
"""

import csv
import io
import json
import re
from datetime import datetime
from urllib.parse import urljoin

import pytest

from curl import Curl
from documents import same
from owner import JSON_PATCH, MERGE_PATCH


@pytest.fixture
def curl(daemon, tmp_path):
    return Curl(daemon.url, tmp_path)


@pytest.fixture
def strip(curl, new_id):
    fixture = new_id()
    answer = curl.sends("POST", "/v1/fixtures", {"id": fixture, "title": 'Reed, the ünusual "one"', "kind": "strip"})
    assert answer.status == 201, answer
    return fixture


def links(answer):
    """The targets of a Link header by relation (RFC 8288, section 3), made absolute by the request's address."""
    request = answer.request.rsplit(" ", 1)[-1]
    found = re.findall(r'<([^>]*)>((?:\s*;\s*[a-z*]+\s*=\s*(?:"[^"]*"|[^",;\s]+))*)', answer.headers.get("link", ""))
    relations = {}
    for target, parameters in found:
        relation = re.search(r'rel\s*=\s*"?([^";]+)"?', parameters)
        relations[relation[1]] = urljoin(request, target)
    return relations


def is_problem(answer, status):
    """RFC 9457: the media type of section 3, the members of section 3.1 with their types, the status twice the same."""
    assert answer.status == status, answer
    assert answer.media_type == "application/problem+json", answer
    problem = answer.json
    assert problem["status"] == status, answer
    for member in ("type", "title", "detail"):
        assert isinstance(problem[member], str) and problem[member], answer
    return problem


def test_a_fixture_is_made_found_and_refused_a_second_time(curl, new_id):
    fixture = new_id()
    body = {"id": fixture, "title": "Reeds in the hall", "groups": ["indoors"], "notes": "144 pixels"}
    made = curl.sends("POST", "/v1/fixtures", body)
    # RFC 9110, section 15.3.2: a 201 says by Location what was created
    assert made.status == 201 and urljoin("/v1/fixtures", made.headers["location"]) == f"/v1/fixtures/{fixture}", made
    found = curl(f"/v1/fixtures/{fixture}")
    assert found.status == 200 and found.media_type == "application/json", found
    assert {name: found.json[name] for name in body} == body
    assert found.json["standing"] == "never-heard" and found.json["desired"]["rev"] == 0
    assert found.headers["etag"] == made.headers["etag"]
    is_problem(curl.sends("POST", "/v1/fixtures", body), 409)
    gone = curl(f"/v1/fixtures/{fixture}", "--request", "DELETE", "--header", f"If-Match: {found.headers['etag']}")
    assert gone.status in (200, 204), gone
    is_problem(curl(f"/v1/fixtures/{fixture}"), 404)


def test_an_edit_goes_by_if_match(curl, strip):
    path = f"/v1/fixtures/{strip}/desired"
    first = curl.sends("PUT", path, {"fade": 1})
    assert first.status == 200 and first.headers["etag"] == '"1"', first
    edit = lambda tag: curl.sends("PATCH", path, {"fade": 2}, MERGE_PATCH, "--header", f"If-Match: {tag}")
    # RFC 9110, section 13.1.1: strong comparison, so that a weak tag never matches; 15.5.13: 412
    for tag in ('"0"', '"2"', 'W/"1"', '"11"'):
        is_problem(edit(tag), 412)
    assert curl(path).json == {"fade": 1}
    assert edit('"7", "1"').headers["etag"] == '"2"'
    # what has moved on meanwhile is not overwritten
    is_problem(curl.sends("PATCH", path, {"fade": 3}, MERGE_PATCH, "--header", 'If-Match: "1"'), 412)
    # `*`: any current representation
    assert curl.sends("PATCH", path, {"fade": 3}, MERGE_PATCH, "--header", "If-Match: *").headers["etag"] == '"3"'
    # section 13.1.2: `If-None-Match: *` on an unsafe method asks that nothing is there yet
    is_problem(curl.sends("PUT", path, {"fade": 4}, "application/json", "--header", "If-None-Match: *"), 412)
    assert curl(path).json == {"fade": 3}


def test_what_is_held_already_is_not_sent_again(curl, strip):
    path = f"/v1/fixtures/{strip}/desired"
    curl.sends("PUT", path, {"fade": 1})
    # RFC 9110, section 13.1.2: weak comparison; 15.4.5: a 304 has the ETag and no content
    for tag in ('"1"', 'W/"1"', '"0", "1"', "*"):
        answer = curl(path, "--header", f"If-None-Match: {tag}")
        assert (answer.status, answer.body, answer.headers["etag"]) == (304, b"", '"1"'), answer
    answer = curl(path, "--header", 'If-None-Match: "2"')
    assert answer.status == 200 and answer.json == {"fade": 1}
    for path in (f"/v1/fixtures/{strip}", f"/v1/fixtures/{strip}/reported"):
        tag = curl(path).headers["etag"]
        assert curl(path, "--header", f"If-None-Match: {tag}").status == 304, path


def test_head_answers_as_get_without_the_content(curl, strip):
    # RFC 9110, section 9.3.2
    for path in (f"/v1/fixtures/{strip}", f"/v1/fixtures/{strip}/desired", "/v1/history", "/openapi.json"):
        get, head = curl(path), curl(path, "--head")
        assert head.status == get.status == 200, head
        for name in ("content-type", "etag"):
            assert head.headers.get(name) == get.headers.get(name), (path, name)
        if path != "/v1/history" and "content-length" in head.headers:
            assert int(head.headers["content-length"]) == len(get.body), path


def test_undo_puts_back_what_was_and_the_past_stays_readable(curl, strip):
    path = f"/v1/fixtures/{strip}"
    documents = [{"fade": 1}, {"fade": 2, "default": "dark"}, {"lit": False}]
    for document in documents:
        assert curl.sends("PUT", f"{path}/desired", document).status == 200
    undone = curl.sends("POST", f"{path}/undo", {})
    assert undone.status == 200 and (undone.json["rev"], undone.json["to"]) == (4, 2), undone
    assert same(curl(f"{path}/desired").json, documents[1])
    undone = curl.sends("POST", f"{path}/undo", {"to": 1})
    assert (undone.json["rev"], undone.json["to"], undone.headers["etag"]) == (5, 1, '"5"'), undone
    for rev, document in enumerate([{}, *documents, documents[1], documents[0]]):
        answer = curl(f"{path}/desired?rev={rev}")
        assert answer.status == 200 and same(answer.json, document), answer
    changes = curl(f"{path}/history?document=desired&order=oldest").json["changes"]
    for change in changes:
        at = curl(f"{path}/desired?at={change['at']}")
        # several revisions may share a millisecond; the last of them holds
        last = max(other["rev"] for other in changes if other["at"] == change["at"])
        assert at.rev == last, (change, at)
    is_problem(curl(f"{path}/desired?rev=6"), 404)


def test_a_post_under_one_idempotency_key_happens_once(curl, strip):
    path = f"/v1/fixtures/{strip}"
    for fade in (1, 2, 3):
        curl.sends("PUT", f"{path}/desired", {"fade": fade})
    undo = lambda: curl.sends("POST", f"{path}/undo", {}, "application/json", "--header", "Idempotency-Key: one-time")
    first, second = undo(), undo()
    assert first.status == second.status == 200 and same(first.json, second.json)
    assert curl(f"{path}/desired").json == {"fade": 2}


def test_lists_come_in_pages_that_follow_on_by_link(curl, new_id):
    group = new_id()
    ids = sorted(new_id() for _ in range(7))
    for fixture in ids:
        assert curl.sends("POST", "/v1/fixtures", {"id": fixture, "groups": [group]}).status == 201
    seen, url = [], f"/v1/fixtures?group={group}&limit=3"
    for _ in range(3):
        page = curl(url)
        seen.append([fixture["id"] for fixture in page.json["fixtures"]])
        url = links(page).get("next")
    assert url is None and [len(page) for page in seen] == [3, 3, 1]
    assert [fixture for page in seen for fixture in page] == ids


def test_history_comes_in_pages_that_follow_on_by_link(curl, strip):
    path = f"/v1/fixtures/{strip}"
    for fade in range(1, 12):
        curl.sends("PATCH", f"{path}/desired", {"fade": fade}, MERGE_PATCH)
    for order, wanted in (("newest", range(11, 0, -1)), ("oldest", range(1, 12))):
        seen, url = [], f"{path}/history?document=desired&limit=4&order={order}"
        while url is not None:
            page = curl(url)
            assert page.status == 200 and len(page.json["changes"]) <= 4, page
            seen += [change["rev"] for change in page.json["changes"]]
            url = links(page).get("next")
        assert seen == list(wanted)


def test_history_reads_the_same_as_json_as_ndjson_and_as_csv(curl, strip):
    path = f"/v1/fixtures/{strip}"
    for note in ("plain", 'with "quotes", commas; and semicolons', "two\r\nlines\n", "ünïcode 💡", "=1+1", " "):
        answer = curl.sends("PATCH", f"{path}/desired", {"note": note, "deep": {"list": [1, None, 2.5]}}, MERGE_PATCH)
        assert answer.status == 200, answer
    as_json = curl(f"{path}/history", "--header", "Accept: application/json")
    changes = as_json.json["changes"]
    assert len(changes) == 7  # the fixture itself, and six edits
    for change in changes:
        # RFC 3339, section 5.6
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)", change["at"]), change
        assert datetime.fromisoformat(change["at"]).tzinfo is not None
    as_lines = curl(f"{path}/history", "--header", "Accept: application/x-ndjson")
    assert as_lines.media_type == "application/x-ndjson"
    assert as_lines.body.endswith(b"\n")
    assert [json.loads(line) for line in as_lines.body.splitlines()] == changes
    as_table = curl(f"{path}/history", "--header", "Accept: text/csv")
    assert as_table.media_type == "text/csv"
    rows = list(csv.DictReader(io.StringIO(as_table.body.decode(), newline=""), strict=True))
    assert len(rows) == len(changes)
    for row, change in zip(rows, changes, strict=True):
        assert row.keys() == change.keys()
        for name, value in change.items():
            read = json.loads(row[name]) if name in ("patch", "inverse") else row[name]
            assert same(read, value if name in ("patch", "inverse") else "" if value is None else str(value)), (
                name,
                row,
            )
    is_problem(curl(f"{path}/history", "--header", "Accept: image/png"), 406)  # RFC 9110, section 15.5.7


def test_what_is_wrong_is_said_as_a_problem_with_its_place(curl, strip):
    path = f"/v1/fixtures/{strip}/desired"
    is_problem(curl("/v1/fixtures/nobody-at-all"), 404)
    is_problem(curl("/v1/no-such-address"), 404)
    is_problem(curl(f"{path}?colour=red"), 400)
    malformed = is_problem(curl.sends("PATCH", path, '{"a":{"b":1,"b":2}}', MERGE_PATCH), 400)
    assert malformed["pointer"] == "/a/b"
    invalid = {"looks": {"evening": {"colours": ["wheat", "nocolour"], "intensity": 101}}}
    problem = is_problem(curl.sends("PATCH", path, invalid, MERGE_PATCH), 422)
    assert problem["pointer"].startswith("/looks/evening/")
    assert {error["pointer"] for error in problem["errors"]} >= {"/looks/evening/colours/1", "/looks/evening/intensity"}
    is_problem(curl.sends("PATCH", path, [{"op": "test", "path": "/fade", "value": 9}], JSON_PATCH), 422)
    too_large = is_problem(curl.sends("PATCH", path, json.dumps({"t": "x" * (1 << 16)}), MERGE_PATCH), 413)
    assert too_large["title"]
    chunked = ["--header", "Transfer-Encoding: chunked", "--header", "Expect:"]
    is_problem(curl.sends("PATCH", path, json.dumps({"t": "x" * (1 << 17)}), MERGE_PATCH, *chunked), 413)
    # RFC 5789, section 2.2: 415 names by Accept-Patch what would do
    unsupported = curl.sends("PATCH", path, {})
    is_problem(unsupported, 415)
    assert {name.strip() for name in unsupported.headers["accept-patch"].split(",")} == {MERGE_PATCH, JSON_PATCH}
    # RFC 9110, section 15.5.6: 405 names by Allow what would do
    not_allowed = curl(path, "--request", "POST", "--data", "")
    is_problem(not_allowed, 405)
    assert {"GET", "PUT", "PATCH"} <= {name.strip() for name in not_allowed.headers["allow"].split(",")}
    assert curl(path).json == {}


def test_a_problem_explains_itself_at_its_type(curl):
    problem = is_problem(curl("/v1/fixtures/nobody-at-all"), 404)
    # RFC 9457, section 3.1.1: a relative type resolves against the request's address, and should be readable there
    page = curl(urljoin("/v1/fixtures/nobody-at-all", problem["type"]))
    assert page.status == 200 and page.media_type.startswith("text/"), page
    assert problem["title"] in page.body.decode().replace("&#x27;", "'").replace("&#39;", "'")


def test_without_a_fitting_token_nothing_but_health_is_answered(closed_daemon, tmp_path):
    curl = Curl(closed_daemon.url, tmp_path)
    assert curl("/healthz").status == 200
    for path in ("/v1/fixtures", "/v1/history", "/v1/tokens", "/v1/backups", "/openapi.json"):
        for token in ([], ["--oauth2-bearer", "made-up"]):
            refused = curl(path, *token)
            is_problem(refused, 401)
            # RFC 9110, section 15.5.2: a 401 says by WWW-Authenticate how to come in; RFC 6750, section 3: Bearer
            assert refused.headers["www-authenticate"].lower().startswith("bearer"), refused
    # the first start says an admin token once: 43 characters of base64 for URLs (RFC 4648, section 5)
    [admin] = re.findall(r"(?<![\w-])[\w-]{43}(?![\w-])", closed_daemon.log())
    owner = ["--oauth2-bearer", admin]
    assert curl.sends("POST", "/v1/fixtures", {"id": "hall"}, "application/json", *owner).status == 201
    tokens = {}
    for scope in ("read", "edit"):
        made = curl.sends("POST", "/v1/tokens", {"name": scope, "scope": scope}, "application/json", *owner)
        assert made.status == 201, made
        assert "no-store" in made.headers["cache-control"]
        tokens[scope] = ["--oauth2-bearer", made.json["token"]]
    edit = ("PATCH", "/v1/fixtures/hall/desired", {"lit": False}, MERGE_PATCH)
    assert curl("/v1/fixtures/hall", *tokens["read"]).status == 200
    is_problem(curl.sends(*edit, *tokens["read"]), 403)
    assert curl.sends(*edit, *tokens["edit"]).status == 200
    is_problem(curl.sends("POST", "/v1/fixtures", {"id": "x"}, "application/json", *tokens["edit"]), 403)
    [change] = curl("/v1/history?document=desired", *tokens["read"]).json["changes"]
    assert (change["by"], change["via"]) == ("edit", "http")
