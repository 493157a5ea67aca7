"""JSON pointers: the examples of RFC 6901 §5, and what its grammar (§3) and evaluation (§4) refuse.

Source: Bryan, Zyp, Nottingham, JavaScript Object Notation (JSON) Pointer, RFC 6901 (2013). The text is from
memory. The examples, and `/~01`, `/foo/01`, `/foo/2`, `foo` and `/~2`, were computed with the library jsonpointer
3.12 and agree; the other places and errors follow from the grammar as remembered.
"""

from __future__ import annotations

import json

import pytest

from chamberwatch.wire import pointer
from chamberwatch.wire.measured import ABSENT

DOCUMENT = json.loads(
    r'{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}'
)


@pytest.mark.parametrize(("text", "value"), [
    ("", DOCUMENT), ("/foo", ["bar", "baz"]), ("/foo/0", "bar"), ("/", 0), ("/a~1b", 1), ("/c%d", 2), ("/e^f", 3),
    ("/g|h", 4), ("/i\\j", 5), ('/k"l', 6), ("/ ", 7), ("/m~0n", 8),
])  # fmt: skip
def test_the_examples_of_the_standard(text, value):
    """§5: each pointer names the value beside it."""
    assert pointer.at(DOCUMENT, text) == value


def test_a_tilde_is_unescaped_after_the_slash():
    """§4: `~01` is the name "~1" and never "/"."""
    assert pointer.at({"~1": "right", "/": "wrong"}, "/~01") == "right"


@pytest.mark.parametrize("text", ["/foo/2", "/foo/-", "/foo/01", "/foo/+1", "/foo/ 1", "/foo/bar", "/foo/1e0", "/nowhere", "/a~1b/x", "/foo/\u0661"])
def test_a_place_that_is_not_there(text):
    """§4: past the end, the place after the last (`-`), a leading zero, no index, below a number: nothing, no error."""
    assert pointer.at(DOCUMENT, text) is ABSENT


@pytest.mark.parametrize(("text", "why"), [
    ("foo", "must begin with /"), ("#/foo", "must begin with /"), ("/~2", "written ~0"), ("/a~", "written ~0"),
])  # fmt: skip
def test_what_is_no_pointer(text, why):
    """§3: no slash first; a tilde that is neither ~0 nor ~1."""
    with pytest.raises(ValueError, match=why):
        pointer.parse(text)
