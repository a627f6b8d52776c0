"""The owner of the fixtures, as a client of the HTTP API: Python's own http.client, one connection a request."""

import http.client
import json
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from waiting import PATIENCE

JSON = "application/json"
MERGE_PATCH = "application/merge-patch+json"
JSON_PATCH = "application/json-patch+json"


@dataclass
class Answer:
    """An answer, whatever its status. Names of headers are in small letters."""

    status: int
    headers: dict
    body: bytes
    request: str = field(default="")

    @property
    def json(self):
        return json.loads(self.body)

    @property
    def rev(self):
        """The revision in a strong entity tag that holds nothing else."""
        return int(self.headers["etag"].strip('"'))

    @property
    def media_type(self):
        return self.headers.get("content-type", "").split(";")[0].strip().lower()

    def __str__(self):
        return f"{self.request} -> {self.status} {self.body[:400]!r}"


class Owner:
    """A client of one daemon."""

    def __init__(self, url):
        self.address = urlsplit(url).netloc

    def send(self, method, path, body=None, content_type=JSON, headers=None):
        """Sends a request. `body` is bytes, or a value that goes out as JSON in UTF-8, or None for no body."""
        headers = dict(headers or {})
        if body is not None:
            headers.setdefault("Content-Type", content_type)
            if not isinstance(body, bytes):
                body = json.dumps(body, ensure_ascii=False, allow_nan=False).encode()
        connection = http.client.HTTPConnection(self.address, timeout=PATIENCE)
        try:
            connection.request(method, path, body=body, headers=headers)
            response = connection.getresponse()
            answer = Answer(
                response.status,
                {name.lower(): value for name, value in response.getheaders()},
                response.read(),
                f"{method} {path}",
            )
        finally:
            connection.close()
        assert answer.status < 500, f"no request deserves a 5xx: {answer}"
        return answer

    def get(self, path, **headers):
        return self.send("GET", path, headers=headers)

    def put(self, path, value):
        return self.send("PUT", path, value)

    def post(self, path, value=None):
        return self.send("POST", path, {} if value is None else value)

    def merge(self, path, patch):
        # None is a body here: the JSON text null
        return self.send("PATCH", path, b"null" if patch is None else patch, MERGE_PATCH)

    def operate(self, path, operations):
        return self.send("PATCH", path, operations, JSON_PATCH)

    def add(self, fixture, **record):
        answer = self.post("/v1/fixtures", {"id": fixture, **record})
        assert answer.status == 201, answer

    def enrol(self, fixture):
        """Gives the fixture a new secret; gives the whole answer."""
        answer = self.post(f"/v1/fixtures/{fixture}/enrol")
        assert answer.status == 201, answer
        return answer.json

    def fixture(self, fixture):
        return self.get(f"/v1/fixtures/{fixture}").json

    def desired(self, fixture):
        answer = self.get(f"/v1/fixtures/{fixture}/desired")
        assert answer.status == 200, answer
        return answer.json

    def want(self, fixture, document):
        """Makes this the desired document; gives its revision."""
        answer = self.put(f"/v1/fixtures/{fixture}/desired", document)
        assert answer.status == 200, answer
        return answer.rev
