"""What comes over a pipe from a stranger is a message or one sentence about why it is none."""

from __future__ import annotations

import io

import numpy as np
import pytest

from harness.messages import get, put


def sent(array: np.ndarray) -> bytes:
    pipe = io.BytesIO()
    put(pipe, {"told": 1}, [array])
    return pipe.getvalue()


def test_a_message_arrives_as_it_was_sent() -> None:
    header, (array,) = get(io.BytesIO(sent(np.arange(6.0).reshape(2, 3))), most=10**6)
    assert header == {"told": 1}
    np.testing.assert_array_equal(array, np.arange(6.0).reshape(2, 3))


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"[1]\n", "how long its arrays are"),
        (b'{"bytes": 3}\n', "how long its arrays are"),
        (b'{"bytes": [-1]}\n', "how long its arrays are"),
        (b'{"bytes": [1000001]}\n', "at most 1000000 bytes, got 1000001"),
        (b"[" * 10**5 + b"\n", "plain JSON"),
        (b'{"bytes": [4]}\nabcd', "plain array|magic"),
    ],
)
def test_what_is_no_message_is_refused(raw: bytes, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        get(io.BytesIO(raw), most=10**6)


def test_arrays_of_objects_are_never_opened() -> None:
    stored = io.BytesIO()
    np.save(stored, np.array([{}], object), allow_pickle=True)
    body = stored.getvalue()
    raw = b'{"bytes": [%d]}\n' % len(body) + body
    with pytest.raises(ValueError, match="pickle"):
        get(io.BytesIO(raw), most=10**6)


@pytest.mark.parametrize("raw", [b"", sent(np.zeros(3))[:-1]])
def test_a_pipe_that_ends_early_is_told_apart(raw: bytes) -> None:
    with pytest.raises(EOFError):
        get(io.BytesIO(raw), most=10**6)
