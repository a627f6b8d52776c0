"""The worked examples of RFC 7396, RFC 6902 and RFC 6901 over HTTP, as the tables in tests/check-values hold them.

A desired document is an object in which no member is null and no name is empty, so some examples have no place here;
each check says which and counts them.
"""

import json

import pytest

from daemon import ROOT
from documents import has_null_member, same
from owner import JSON_PATCH

TABLES = ROOT / "tests" / "check-values"


def table(name):
    return json.loads((TABLES / name).read_text())


def is_document(value):
    return isinstance(value, dict) and not has_null_member(value) and "" not in value


MERGE = table("json-merge-patch-rfc7396.json")["cases"]
# Left out, since original or result is no document: appendix A cases 9 and 14 (an array), 13 (a null member).
# Cases 10, 11 and 12 have a patch that would make the document something else than an object; they are refused, below.
MERGE_DOCUMENTS = [case for case in MERGE if is_document(case["original"]) and is_document(case["result"])]
MERGE_TO_NO_OBJECT = [case for case in MERGE if is_document(case["original"]) and not isinstance(case["result"], dict)]

EXTRA = table("json-merge-patch-extra.json")["cases"]
# Left out: six originals that are no object or hold a null member, and one with an empty name.
EXTRA_DOCUMENTS = [case for case in EXTRA if is_document(case["original"]) and is_document(case["result"])]

PATCH = table("json-patch-rfc6902.json")["cases"]
# Only A.13 is not a document with a patch: its patch has one member twice and is kept as text. It is sent as that.
PATCH_DOCUMENTS = [case for case in PATCH if "patch" in case]
PATCH_TEXTS = [case for case in PATCH if "patch_text" in case]


def named(cases):
    return [pytest.param(case, id=case.get("source", case.get("what"))) for case in cases]


def test_the_tables_are_all_there_and_little_is_left_out():
    assert (len(MERGE), len(MERGE_DOCUMENTS), len(MERGE_TO_NO_OBJECT)) == (17, 11, 3)
    assert (len(EXTRA), len(EXTRA_DOCUMENTS)) == (33, 26)
    assert (len(PATCH), len(PATCH_DOCUMENTS), len(PATCH_TEXTS)) == (20, 19, 1)


@pytest.fixture
def path(owner, open_fixture):
    return f"/v1/fixtures/{open_fixture}/desired"


def begin(owner, path, document):
    answer = owner.put(path, document)
    assert answer.status == 200, answer
    return answer.rev


def is_unchanged(owner, path, rev, document):
    now = owner.get(path)
    assert now.rev == rev and same(now.json, document), now


@pytest.mark.parametrize("case", named(MERGE_DOCUMENTS + EXTRA_DOCUMENTS))
def test_a_merge_patch_gives_the_result_that_is_printed(owner, path, case):
    begin(owner, path, case["original"])
    answer = owner.merge(path, case["patch"])
    assert answer.status == 200, answer
    assert same(owner.get(path).json, case["result"])
    # a merge patch may be repeated (RFC 7396, section 2: what it says is there is there already)
    again = owner.merge(path, case["patch"])
    assert again.status == 200 and again.rev == answer.rev, again


@pytest.mark.parametrize("case", named(MERGE_TO_NO_OBJECT))
def test_a_merge_patch_that_would_make_the_document_no_object_is_refused(owner, path, case):
    rev = begin(owner, path, case["original"])
    answer = owner.merge(path, case["patch"])
    assert answer.status == 422, answer
    is_unchanged(owner, path, rev, case["original"])


@pytest.mark.parametrize("case", named(PATCH_DOCUMENTS))
def test_a_json_patch_gives_the_result_that_is_printed_or_its_error(owner, path, case):
    rev = begin(owner, path, case["document"])
    answer = owner.operate(path, case["patch"])
    if case.get("error"):
        assert answer.status in (409, 422), answer
        is_unchanged(owner, path, rev, case["document"])
    else:
        assert answer.status == 200, answer
        assert same(owner.get(path).json, case["result"])


def test_a_test_that_does_not_hold_is_a_conflict(owner, path):
    # RFC 6902, appendix A.9; RFC 5789, section 2.2: a state that the patch cannot be applied to is 409
    [case] = [case for case in PATCH if case["source"] == "RFC 6902 appendix A.9"]
    begin(owner, path, case["document"])
    assert owner.operate(path, case["patch"]).status == 409


@pytest.mark.parametrize("case", named(PATCH_TEXTS))
def test_a_json_patch_with_one_member_twice_is_malformed(owner, path, case):
    rev = begin(owner, path, {"foo": "bar"})
    # RFC 5789, section 2.2: a malformed patch document is 400
    answer = owner.send("PATCH", path, case["patch_text"].encode(), JSON_PATCH)
    assert answer.status == 400, answer
    is_unchanged(owner, path, rev, {"foo": "bar"})


POINTERS = table("json-pointer-rfc6901.json")
# Left out: the whole document (its empty member cannot be stored here) and that member itself.
DOCUMENT = {name: value for name, value in POINTERS["document"].items() if name != ""}
GOOD_POINTERS = [case for case in POINTERS["cases"] if case["pointer"] not in ("", "/")]


@pytest.mark.parametrize("case", [pytest.param(case, id=case["pointer"]) for case in GOOD_POINTERS])
def test_a_json_pointer_finds_the_value_that_is_printed(owner, path, case):
    begin(owner, path, DOCUMENT)
    right = [{"op": "test", "path": case["pointer"], "value": case["value"]}]
    wrong = [{"op": "test", "path": case["pointer"], "value": "something else"}]
    assert owner.operate(path, right).status == 200
    assert owner.operate(path, wrong).status == 409


@pytest.mark.parametrize("case", [pytest.param(case, id=case["pointer"]) for case in POINTERS["error_cases"]])
def test_a_json_pointer_that_finds_nothing_is_refused(owner, path, case):
    rev = begin(owner, path, DOCUMENT)
    answer = owner.operate(path, [{"op": "remove", "path": case["pointer"]}])
    assert answer.status in (400, 409, 422), answer
    is_unchanged(owner, path, rev, DOCUMENT)
