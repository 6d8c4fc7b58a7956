"""JSON that somebody edited: every place of it, and values that do not belong there."""

from copy import deepcopy

from hypothesis import strategies as st

HOSTILE = st.sampled_from(
    [10**30, -1, 0, 255, 4096, True, None, "", "x", "1", [], [[]], {}, 1.5, {"ratio": [1, 0]}, {"hex": "0"}, {"is": "Gap"}]
)


def places(value, path=()):
    """Every place of a plain form, as the keys that lead to it."""
    yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in inner:
        yield from places(each, (*path, key))


def with_value(plain, path, value):
    changed = deepcopy(plain)
    if not path:
        return value
    table = changed
    for key in path[:-1]:
        table = table[key]
    table[path[-1]] = value
    return changed
