"""Reported against modelled carry, file by file. All shots are invented."""

from collections.abc import Callable
from typing import Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.device_check import FAR_OFF, device_checks
from pipeline.judgements import DeviceCheck
from pipeline.records import Fate

MakeFrame = Callable[..., pl.DataFrame]
COUNTED, BAD, MISHIT = Fate("counted"), Fate("bad_read", "duplicate"), Fate("mishit", "short_carry")
MODEL: Final = np.array([200.0, 210.0, 190.0, 205.0, 195.0, 200.0])


def test_centre_and_spread_of_the_ratio(frame: MakeFrame) -> None:
    ratio = np.array([1.00, 1.02, 1.04, 1.02, 1.02, 1.03])
    found = device_checks(frame(6, carry_m=MODEL * ratio, model_carry_m=MODEL), [COUNTED] * 6)
    [check] = found
    assert (check.file, check.shots, check.far_off) == ("a.csv", 6, False)
    assert check.centre == pytest.approx(1.02)
    assert check.spread == pytest.approx(1.763788 * 0.005)  # C_6 times the median of 0 0 0 .01 .02 .02


@pytest.mark.parametrize(("ratio", "far_off"), [(1.079, False), (1.081, True), (0.921, False), (0.919, True)])
def test_far_off_limit_on_both_sides(frame: MakeFrame, ratio: float, far_off: bool) -> None:  # noqa: FBT001
    assert FAR_OFF == 0.08
    [check] = device_checks(frame(6, carry_m=MODEL * ratio, model_carry_m=MODEL), [COUNTED] * 6)
    assert check.far_off is far_off


def test_bad_reads_take_no_part_and_mishits_do(frame: MakeFrame) -> None:
    carry = MODEL.copy()
    carry[0] = 1.0
    shots = frame(6, carry_m=carry, model_carry_m=MODEL)
    assert device_checks(shots, [BAD] + [COUNTED] * 4 + [MISHIT]) == (DeviceCheck("a.csv", 5, 1.0, 0.0, far_off=False),)


def test_files_are_judged_apart_and_few_shots_not_at_all(frame: MakeFrame) -> None:
    shots = frame(
        10,
        file=["b.csv"] * 6 + ["a.csv"] * 4,
        carry_m=np.append(MODEL * 0.5, MODEL[:4]),
        model_carry_m=np.append(MODEL, MODEL[:4]),
    )
    assert [(c.file, c.far_off) for c in device_checks(shots, [COUNTED] * 10)] == [("b.csv", True)]
    assert device_checks(frame(6, model_carry_m=MODEL), [COUNTED] * 6) == ()
