"""A studio's history as text: what is written is read, and nothing else is believed."""

import json
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import history_text
from pipeline.analysis import history
from pipeline.analysis.expectation import spread_grid
from pipeline.judgements import BetweenClubs, History, KindHistory, TypicalSpread

LENGTHS: Final = st.floats(0.09144, 50)
KINDS: Final = st.builds(
    KindHistory,
    st.sampled_from(history.KINDS),
    st.integers(20, 100_000),
    st.builds(BetweenClubs, LENGTHS, st.floats(4, 60), st.just("history")),
    st.builds(TypicalSpread, LENGTHS, st.floats(0.001, 30)),
)
ONE: Final = KindHistory("driver", 120, BetweenClubs(1.8288, 60.0, "history"), TypicalSpread(9.144, 20.0))


@given(st.lists(KINDS, min_size=1, max_size=5, unique_by=lambda one: one.kind))
def test_what_is_written_is_read(kinds: list[KindHistory]) -> None:
    known = History(tuple(kinds))
    assert history_text.read(history_text.written(known)) == known
    assert history_text.believed(json.loads(json.dumps(history_text.plain(known)))) == known
    for one in kinds:
        assert known.of(one.kind) == one


def test_no_history_is_none() -> None:
    assert history_text.plain(None) is None
    assert history_text.believed(None) is None
    assert history_text.read("") is None
    assert History((ONE,)).of("iron") is None
    assert History((ONE,)).of(None) is None


def test_every_kind_that_is_learned_can_be_written() -> None:
    kinds = tuple(KindHistory(kind, 20, ONE.between, ONE.shots) for kind in history.KINDS)
    assert history_text.read(history_text.written(History(kinds))) == History(kinds)


def changed(**values: Any) -> dict[str, Any]:  # noqa: ANN401 - whatever stands there
    return {**(history_text.plain(History((ONE,))) or [])[0], **values}


DAMAGED: Final = [
    [], {}, "driver", 3, [3], [None], [[]], [{}], [changed(), changed()], [changed()] * 6,
    [changed(kind="putter")], [changed(kind=["driver"])], [changed(more=1)], [changed(customers=0)],
    [changed(customers=True)], [changed(customers=1.5)], [changed(customers=10**30)], [changed(between=None)],
    [changed(between={"spread_m": 1.0, "freedom": 8.0, "source": "stated"})],
    [changed(between={"spread_m": 0.0, "freedom": 8.0, "source": "history"})],
    [changed(between={"spread_m": -1.0, "freedom": 8.0, "source": "history"})],
    [changed(between={"spread_m": 1e9, "freedom": 8.0, "source": "history"})],
    [changed(between={"spread_m": 1.0, "freedom": 2.0, "source": "history"})],
    [changed(between={"spread_m": "1", "freedom": 8.0, "source": "history"})],
    [changed(shots={"spread_m": 1.0})], [changed(shots={"spread_m": 1.0, "freedom": 0.0})],
    [changed(shots={"spread_m": 1.0, "freedom": float("nan")})],
    [changed(shots={"spread_m": float("inf"), "freedom": 1.0})],
]  # fmt: skip


@pytest.mark.parametrize("value", DAMAGED, ids=range(len(DAMAGED)))
def test_what_no_history_can_be_is_not_believed(value: object) -> None:
    assert history_text.read(json.dumps(value)) is None
    with pytest.raises(ValueError, match="history"):
        history_text.believed(value)


@pytest.mark.parametrize("text", ["{", "[" * 100_000, " " * 10_001, "null", "[NaN]"])
def test_text_that_is_no_history_is_none(text: str) -> None:
    assert history_text.read(text) is None


@given(st.text(max_size=40) | st.recursive(st.none() | st.floats() | st.text(max_size=3), st.lists).map(json.dumps))
def test_whatever_stands_there_it_is_read_or_none(text: str) -> None:
    assert history_text.read(text) is None


def test_what_is_believed_can_be_used() -> None:
    """The least freedom that is read is one the comparison takes."""
    least = changed(between={"spread_m": 0.1, "freedom": 2.0001, "source": "history"})
    found = history_text.believed([least])
    assert found is not None
    assert spread_grid(found.kinds[0].between).min() > 0
