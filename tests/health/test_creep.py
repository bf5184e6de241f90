"""Half an hour on the empty rig against the creep limits of OIML R 60, replayed as fast as it goes.

Source of the limits: OIML R 60-1:2021, 5.5.1 (0.7 of the error envelope in 30 minutes, 0.15 of it from the 20th to the
30th); the envelope itself is checked in tests/newtons_calibration/test_weighing_limits.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from health_procedures import facts_of

from firmware_bridge.counts import CountBlock
from monitor.cli.commands.check import _seconds
from monitor.errors import BadInput
from monitor.health.checkup import Checkup
from monitor.health.creep import creep_verdict
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.rig import Channel, Rig

RATE_Hz, RATED_N = 80.0, 3000.0
RIG = Rig("one hook", (Channel("hook", "bar", rated_N=RATED_N),), mount_rating_N=3000.0)
# v = 3000 N / 1000 = 3 N; envelope at no load 0.5 * 0.7 * 3 N = 1.05 N; of it 0.7 and 0.15 (the standard's figures).
LIMIT_N, LATE_LIMIT_N = 0.735, 0.1575


def creeping(whole_N: float, tau_min: float, minutes: float = 30.0, noise_N: float = 0.2) -> np.ndarray:
    """Return readings of a cell that goes towards ``whole_N`` with a time constant, in white noise."""
    t_min = np.arange(round(minutes * 60 * RATE_Hz)) / RATE_Hz / 60
    noise = np.random.default_rng(60).standard_normal(len(t_min)) * noise_N
    return whole_N * (1 - np.exp(-t_min / tau_min)) + noise


def test_both_limits_are_those_of_the_standard():
    result = creep_verdict("hook", creeping(0.0, 5.0), RATE_Hz, RATED_N)
    assert result.outcome == "good"
    assert result.numbers["limit_30_min_N"] == pytest.approx(LIMIT_N, rel=1e-12)
    assert result.numbers["limit_20_to_30_min_N"] == pytest.approx(LATE_LIMIT_N, rel=1e-12)


@pytest.mark.parametrize(
    ("whole_N", "tau_min", "outcome"),
    [
        (0.6, 4.0, "good"),  # within both: 0.6 N in all, 0.004 N at the end
        (1.1, 3.0, "doubtful"),  # beyond the first one only
        (-1.1, 3.0, "doubtful"),
        (1.15, 30.0, "doubtful"),  # 0.71 N in all, 0.17 N of it late: beyond the second one only
    ],
)
def test_creep_beyond_either_limit_is_doubtful(whole_N, tau_min, outcome):
    result = creep_verdict("hook", creeping(whole_N, tau_min, noise_N=0.02), RATE_Hz, RATED_N)
    # Means over a minute: the first is that of the minute from 0 to 1, the others end at 20 and 30 min.
    mean = lambda end: whole_N * (1 - tau_min * (np.exp(-(end - 1) / tau_min) - np.exp(-end / tau_min)))  # noqa: E731
    assert result.numbers["change_30_min_N"] == pytest.approx(mean(30) - mean(1), abs=0.005)
    assert result.numbers["change_20_to_30_min_N"] == pytest.approx(mean(30) - mean(20), abs=0.005)
    late = abs(mean(30) - mean(20)) > LATE_LIMIT_N
    assert outcome == ("doubtful" if late or abs(mean(30) - mean(1)) > LIMIT_N else "good")
    assert result.outcome == outcome


def watched(minutes: float, whole_N: float = 1.1) -> list:
    counts = np.rint(1000 * creeping(whole_N, 3.0, minutes + 0.1)).astype(np.int32)[:, None]
    calibration = Calibration((ChannelCalibration("hook", 0.0, 1e-3, u_rel_span=1e-3),), "c")
    checkup = Checkup(RIG, calibration, empty_s=60 * minutes, with_person=False)
    checkup.take(facts_of(RIG))
    t_s = np.arange(1, len(counts) + 1) / RATE_Hz
    for first in range(0, len(counts), 8000):
        checkup.take(CountBlock(0, t_s[first : first + 8000], counts[first : first + 8000]))
    assert checkup.finished
    return checkup.verdicts()


def test_a_check_of_half_an_hour_applies_them_and_a_shorter_one_says_that_it_is_shorter():
    long = {v.key: v for v in watched(30)}
    assert long["creep:hook"].outcome == "doubtful"
    assert "shorter" not in long["drift:hook"].words
    short = {v.key: v for v in watched(2)}
    assert "creep:hook" not in short
    assert "2 min are shorter than the 30 min of OIML R 60" in short["drift:hook"].words


def test_a_cell_without_a_rating_is_unknown():
    result = creep_verdict("hook", creeping(0.0, 5.0), RATE_Hz, None)
    assert (result.outcome, result.do) == ("not_told", "Write rated_N into rig.toml.")


@pytest.mark.parametrize(("text", "seconds"), [("30m", 1800), ("90s", 90), ("1h", 3600), ("600", 600), ("0.5 h", 1800)])
def test_times_are_read(text, seconds):
    assert _seconds(text) == seconds


@pytest.mark.parametrize("text", ["", "m", "5s", "2h", "-30m", "thirty"])
def test_other_times_are_refused(text):
    with pytest.raises(BadInput):
        _seconds(text)
