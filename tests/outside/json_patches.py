"""Random JSON Patches that fit a document, and now and then one that does not."""

from copy import deepcopy

import jsonpatch
import jsonpointer
from hypothesis import strategies as st

from documents import names, values

FAULTS = (jsonpatch.JsonPatchException, jsonpointer.JsonPointerException)
"""What the reference library raises for a patch that cannot be applied."""


def places(value, path=()):
    """Every place in a value with what is there, the whole first."""
    yield path, value
    members = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, member in members:
        yield from places(member, (*path, name))


def pointer(path):
    """A path as a JSON Pointer (RFC 6901, section 3)."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in path)


@st.composite
def _new_place(draw, document):
    """A place where something may be added."""
    path, container = draw(st.sampled_from([p for p in places(document) if isinstance(p[1], (dict, list))]))
    if isinstance(container, dict):
        return pointer((*path, draw(names)))
    return pointer((*path, draw(st.one_of(st.integers(0, len(container)), st.just("-")))))


@st.composite
def _no_place(draw, document):
    """A place that is not there: an element after the last, or a member below one that is missing."""
    lists = [p for p in places(document) if isinstance(p[1], list)]
    if lists and draw(st.booleans()):
        path, elements = draw(st.sampled_from(lists))
        return pointer((*path, len(elements) + draw(st.integers(1, 3))))
    return pointer(("nowhere-at-all", draw(names)))


@st.composite
def _operation(draw, document):
    known = [p for p in places(document) if p[0]]
    kinds = ["add"] * 6 + ["copy-nowhere", "add-nowhere"]
    if known:
        kinds += ["remove", "replace", "move", "copy", "test"] * 3 + ["test-other"]
    kind = draw(st.sampled_from(kinds))
    if kind == "add":
        value = None if draw(st.integers(0, 11)) == 11 else draw(values)
        return {"op": "add", "path": draw(_new_place(document)), "value": value}
    if kind == "add-nowhere":
        return {"op": "add", "path": draw(_no_place(document)), "value": draw(values)}
    if kind == "copy-nowhere":
        return {"op": "copy", "from": draw(_no_place(document)), "path": draw(_new_place(document))}
    path, found = draw(st.sampled_from(known))
    if kind == "remove":
        return {"op": "remove", "path": pointer(path)}
    if kind == "replace":
        return {"op": "replace", "path": pointer(path), "value": draw(values)}
    if kind == "test":
        return {"op": "test", "path": pointer(path), "value": deepcopy(found)}
    if kind == "test-other":
        return {"op": "test", "path": pointer(path), "value": {"this is": "not there"}}
    return {"op": kind, "from": pointer(path), "path": draw(_new_place(document))}


@st.composite
def documents_with_operations(draw, documents):
    """A document, and operations of which all but perhaps the last can be applied to it."""
    document = draw(documents)
    current, operations = deepcopy(document), []
    for _ in range(draw(st.integers(1, 5))):
        operations.append(draw(_operation(current)))
        try:
            current = jsonpatch.apply_patch(current, operations[-1:])
        except FAULTS:
            break
    return document, operations
