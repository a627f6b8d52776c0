"""`/openapi.json` against the PyPI packages openapi-spec-validator and jsonschema, and against the daemon itself."""

import re

import jsonschema
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

METHODS = ("get", "put", "post", "delete", "options", "head", "patch", "trace")
"""The fixed fields of a path item that are operations (OpenAPI 3.1.0, section 4.8.9)."""

NOT_THERE = {"/problems/unknown-fixture", "/problems/not-there"}
"""A 404 of these types is an answer of the operation itself: it looked, and there was no such thing."""


@pytest.fixture(scope="module")
def description(daemon):
    answer = daemon.owner.get("/openapi.json")
    assert answer.status == 200 and answer.media_type in ("application/json", "application/openapi+json"), answer
    return answer.json


def operations(description):
    return [
        (path, method, item[method])
        for path, item in description["paths"].items()
        for method in METHODS
        if method in item
    ]


def resolved(description, value):
    """A value, or what its reference within the description leads to."""
    while "$ref" in value:
        found = description
        for part in value["$ref"].removeprefix("#/").split("/"):
            found = found[part.replace("~1", "/").replace("~0", "~")]
        value = found
    return value


def parameters(description, path, operation):
    found = [*description["paths"][path].get("parameters", []), *operation.get("parameters", [])]
    return [resolved(description, parameter) for parameter in found]


def test_the_description_is_valid_openapi_3_1(description):
    # openapi-spec-validator 0.9.0: the JSON Schema of OpenAPI 3.1, references, duplicate operation ids, path parameters
    assert description["openapi"].startswith("3.1.")
    errors = [
        f"{'/'.join(map(str, error.path))}: {error.message}"
        for error in OpenAPIV31SpecValidator(description).iter_errors()
    ]
    assert errors == []


def test_every_operation_says_in_words_what_it_does(description):
    found = operations(description)
    assert len(found) > 25
    ids = [operation.get("operationId") for _, _, operation in found]
    assert None not in ids and len(set(ids)) == len(ids)
    silent = [
        f"{method} {path}: {member}"
        for path, method, operation in found
        for member in ("summary", "description")
        if not operation.get(member, "").strip()
    ]
    assert silent == []


def test_every_parameter_says_in_words_what_it_is(description):
    silent, count = [], 0
    for path, method, operation in operations(description):
        for parameter in parameters(description, path, operation):
            count += 1
            if not parameter.get("description", "").strip():
                silent.append(f"{method} {path}: {parameter['name']}")
        for status, response in operation["responses"].items():
            if not resolved(description, response).get("description", "").strip():
                silent.append(f"{method} {path}: {status}")
    assert count > 50 and silent == []


def properties(description, schema, place):
    """Every property in a schema and in those inside it, with its place. References are not followed."""
    for name, member in schema.get("properties", {}).items():
        yield f"{place}.{name}", member
        yield from properties(description, member, f"{place}.{name}")
    for keyword in ("items", "additionalProperties"):
        if isinstance(schema.get(keyword), dict):
            yield from properties(description, schema[keyword], f"{place}[]")
    for keyword in ("allOf", "oneOf", "anyOf", "prefixItems"):
        for member in schema.get(keyword, []):
            yield from properties(description, member, place)


def is_described(schema):
    """Whether words stand beside what it is, a reference included (OpenAPI 3.1 is JSON Schema 2020-12 there).

    For what may be null they may stand beside the other alternative.
    """
    others = [member for member in schema.get("oneOf", schema.get("anyOf", [])) if member.get("type") != "null"]
    return bool(schema.get("description", "").strip()) or (len(others) == 1 and is_described(others[0]))


def test_every_property_of_every_schema_says_in_words_what_it_is(description):
    silent, count = [], 0
    for name, schema in description["components"]["schemas"].items():
        for place, member in properties(description, schema, name):
            count += 1
            if not is_described(member):
                silent.append(place)
    assert count > 100 and silent == []


@pytest.fixture(scope="module")
def ground(daemon):
    """Something for each path parameter that is there: a fixture with a past, a backup, a kind, a token."""
    owner = daemon.owner
    owner.add("described")
    for fade in (1, 2, 3):
        owner.want("described", {"fade": fade, "looks": {"evening": {"kelvin": 2400}}, "default": "evening"})
    backup = owner.post("/v1/backups").json["name"]
    token = owner.post("/v1/tokens", {"name": "described", "scope": "read"}).json["id"]
    return {
        "/v1/fixtures/{id}": "described",
        "/v1/backups/{name}": backup,
        "/v1/kinds/{name}": "strip",
        "/v1/tokens/{id}": str(token),
        "/problems/{name}": "stale",
    }


def filled(path, ground):
    """The path with each parameter filled in by what is there."""
    for template, value in ground.items():
        if path == template or path.startswith(f"{template}/"):
            return re.sub(r"\{[^}]*\}", value, path)
    assert "{" not in path, f"the check knows nothing to fill into {path}"
    return path


def conforms(description, operation, answer):
    """The answer is one that the operation describes, of a media type and a form that it describes."""
    described = operation["responses"].get(str(answer.status)) or operation["responses"].get("default")
    assert described is not None, f"{answer}: the status is not among {sorted(operation['responses'])}"
    content = resolved(description, described).get("content", {})
    if not answer.body:
        return
    media = {name.split(";")[0].strip().lower(): value for name, value in content.items()}
    assert answer.media_type in media, f"{answer}: {answer.media_type} is not among {sorted(media)}"
    schema = media[answer.media_type].get("schema")
    if schema is not None and answer.media_type.endswith("json"):
        # jsonschema 4.26.0; the components come along, so that references within the description are found
        whole = {"$schema": "https://json-schema.org/draft/2020-12/schema", "components": description["components"]}
        jsonschema.Draft202012Validator({**whole, **schema}).validate(answer.json)


def test_every_get_answers_in_the_form_that_is_described(daemon, description, ground):
    asked = 0
    for path, method, operation in operations(description):
        if method == "get":
            answer = daemon.owner.get(filled(path, ground))
            assert answer.status == 200, answer
            conforms(description, operation, answer)
            asked += 1
    assert asked > 15


def test_every_operation_is_there_under_its_method(daemon, description, ground):
    """Each is asked with an empty object about something that is not there, so that nothing is taken away."""
    nowhere = {
        template: "nobody-at-all" if "name" in template or "fixtures" in template else "999999999"
        for template in ground
    }
    for path, method, operation in operations(description):
        body = {} if method in ("post", "put", "patch") and "requestBody" in operation else None
        media = next(iter(resolved(description, operation["requestBody"])["content"])) if body is not None else None
        answer = daemon.owner.send(method.upper(), filled(path, nowhere), body, media)
        assert answer.status != 405, answer
        if answer.status == 404:
            assert answer.json["type"] in NOT_THERE, answer
        if answer.status >= 400:
            conforms(description, operation, answer)


def test_a_fixtures_operations_answer_in_the_form_that_is_described(daemon, description, ground):
    owner, by_id = (
        daemon.owner,
        {operation["operationId"]: (path, method, operation) for path, method, operation in operations(description)},
    )
    bodies = {
        "PATCH /v1/fixtures/{id}": ({"title": "Described"}, "application/merge-patch+json"),
        "PUT /v1/fixtures/{id}/desired": (
            {"looks": {"evening": {"kelvin": 2700}}, "default": "evening"},
            "application/json",
        ),
        "PATCH /v1/fixtures/{id}/desired": ({"lit": True}, "application/merge-patch+json"),
        "PUT /v1/fixtures/{id}/override": ({"look": "evening", "until": None}, "application/json"),
        "DELETE /v1/fixtures/{id}/override": (None, None),
        "POST /v1/fixtures/{id}/undo": ({}, "application/json"),
        "POST /v1/fixtures/{id}/enrol": ({}, "application/json"),
        "POST /v1/fixtures": ({"id": "described-too"}, "application/json"),
        "POST /v1/backups": (None, None),
        "POST /v1/tokens": ({"name": "described too", "scope": "edit"}, "application/json"),
    }
    asked = set()
    for path, method, operation in by_id.values():
        request = f"{method.upper()} {path}"
        if request in bodies:
            body, media = bodies[request]
            answer = owner.send(method.upper(), filled(path, ground), body, media)
            assert answer.status in (200, 201, 204), answer
            conforms(description, operation, answer)
            asked.add(request)
    assert asked == bodies.keys()
