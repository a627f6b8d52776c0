"""Random JSON documents within the bounds, and when two JSON values are the same."""

from hypothesis import strategies as st


def same(one, other):
    """Whether two values are the same JSON: members in any order, numbers by value, true is not 1."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[name], other[name]) for name in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    return (
        type(one) in (int, float)
        and type(other) in (int, float)
        and one == other
        or (type(one) is type(other) and one == other)
    )


def has_null_member(value):
    """Whether a member of an object is null. Arrays are taken whole and may hold what they like."""
    return isinstance(value, dict) and any(member is None or has_null_member(member) for member in value.values())


# Few names, so that patch and document meet; some that need escapes in JSON or in a JSON Pointer; and any others of up
# to 48 bytes without control characters.
_names = st.one_of(
    st.sampled_from(["a", "b", "c", "lit", "a/b", "m~n", "~1", " ", "0", "-", 'k"l', "i\\j", "é", "e\u0301", "💡"]),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=12),
)
# Whole numbers that 64 bits hold: beyond them readers of JSON differ (RFC 8259, section 6).
_numbers = st.one_of(
    st.integers(-3, 3),
    st.integers(-(2**63), 2**64 - 1),
    st.floats(allow_nan=False, allow_infinity=False),
)
_texts = st.text(st.characters(exclude_categories=("Cs",)), max_size=16)
_plain = st.one_of(st.booleans(), _numbers, _texts)
_in_arrays = st.recursive(
    st.one_of(st.none(), _plain),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_names, inner, max_size=3)),
    max_leaves=4,
)

values = st.recursive(
    st.one_of(_plain, st.lists(_in_arrays, max_size=4)),
    lambda inner: st.dictionaries(_names, inner, max_size=4),
    max_leaves=8,
)
"""Values that a document may hold: no member is null."""

documents = st.dictionaries(_names, values, max_size=5)
"""Documents."""

merge_patches = st.dictionaries(
    _names,
    st.recursive(
        st.one_of(st.none(), _plain, st.lists(_in_arrays, max_size=3)),
        lambda inner: st.dictionaries(_names, inner, max_size=4),
        max_leaves=8,
    ),
    max_size=5,
)
"""Merge patches, in which null takes a member away."""

names = _names
