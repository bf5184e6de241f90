"""The guided calibration step by step: stillness, averaging, warm-up, restarts, and all that it refuses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from loaded_rig import BAR, FIVE, ONE, ORDINARY, LoadedRig, guided, plan_for

from firmware_bridge.counts import CountBlock
from monitor.demo.electronics import PERFECT
from monitor.newtons.calibrating.averaging import Averager
from monitor.newtons.calibrating.guided_calibration import GuidedCalibration
from monitor.newtons.calibrating.refusals import (
    CalibrationUnfinished,
    ConverterSaturated,
    MassInPounds,
    MassMovesNothing,
    MassNotAsGiven,
    NeverStill,
    SignFlips,
)
from monitor.newtons.calibration import Calibration, ChannelCalibration

AB = [{"part": "bar", "masses": ["A", "B"]}]
SHORT = {"dwell_s": 10.0}
NOISY = replace(PERFECT, noise_kgf=(0.03, 0.03))
AT = "2026-03-02T10:15:00Z"


def procedure(rig=ONE, series=AB, *, faults=ORDINARY, previous=None, seed=1, tamper=None, masses=FIVE, **more):
    plan = plan_for(rig, series, masses=masses, **(SHORT | more))
    loaded = LoadedRig(rig, plan, seed, faults)
    if tamper is not None:
        tamper(loaded)
    return guided(loaded, GuidedCalibration(rig, plan, previous=previous)), loaded


def refused(machine):
    progress = machine.progress
    assert progress.stage == "refused"
    assert progress.refusal is not None
    assert all((progress.refusal.what, progress.refusal.means, progress.refusal.do))
    return progress.refusal


def test_a_whole_procedure_finds_the_span():
    machine, loaded = procedure(BAR, [{"part": "bar", "at": side, "masses": ["A", "B"]} for side in ("left", "right")])
    outcome = machine.finish(AT)
    for channel, true in zip(outcome.calibration.channels, loaded.true_N_per_count, strict=True):
        assert abs(channel.N_per_count / true - 1) < 2.5 * channel.u_rel_span
        assert 1e-4 < channel.u_rel_span < 2e-3
        assert channel.span_at == channel.zero_at == AT
    assert outcome.flags == ("bar: no load was repeated, so repeatability is not known",)
    assert [t.step.direction for t in machine.taken] == [
        "zero", "rising", "rising", "falling", "zero", "rising", "rising", "falling", "zero",
    ]  # fmt: skip


def test_the_result_does_not_depend_on_the_cuts_of_the_stream():
    plan = plan_for(ONE, AB, **SHORT)
    loaded = LoadedRig(ONE, plan, 5)
    steps = [loaded.block(loaded.loads_N(s), 30.0, 30.0 * i, 0.02) for i, s in enumerate(plan.steps)]
    outcomes = []
    for size in (10_000, 7, 80):
        machine = GuidedCalibration(ONE, plan, warm_up_s=0)
        for whole in steps:
            machine.confirm()
            for a in range(0, len(whole), size):
                machine.push(CountBlock(0, whole.board_s[a : a + size], whole.counts[a : a + size]))
        outcomes.append(machine.finish(AT).calibration)
    assert outcomes[0] == outcomes[1] == outcomes[2]


def test_every_step_says_what_to_do():
    plan = plan_for(BAR, [{"part": "bar", "at": "left", "masses": ["A", "B"]}], **SHORT)
    loaded, machine = LoadedRig(BAR, plan, 2), GuidedCalibration(BAR, plan, warm_up_s=0)
    instructions, t_s = [], 0.0
    while (step := machine.step) is not None:
        instructions.append(machine.progress.do)
        machine.confirm()
        while machine.progress.stage == "reading":
            machine.push(loaded.block(loaded.loads_N(step), 1.0, t_s))
            t_s += 1.0
    assert instructions == [
        "Take everything off the bar and let it rest.",
        "Hang A on the bar at left; let it come to rest.",
        "Hang B on the bar at left as well; let it come to rest.",
        "Take B off the bar at left; A stay.",
        "Take everything off the bar and let it rest.",
    ]


def test_a_swinging_load_is_waited_for():
    plan = plan_for(ONE, AB, **SHORT)
    loaded = LoadedRig(ONE, plan, 3, NOISY)
    machine = GuidedCalibration(ONE, plan, warm_up_s=0)
    machine.confirm()
    machine.push(loaded.block(np.zeros(1), 20.0, 0.0))
    machine.confirm()
    load = loaded.loads_N(plan.steps[1])
    t_s = np.arange(80 * 20) / 80.0
    swinging = load * (1 + 0.01 * np.sin(2 * np.pi * 0.9 * t_s))[:, None]
    counts, _ = loaded.electronics.convert(swinging)
    machine.push(CountBlock(0, 20.0 + t_s, counts))
    watch = machine.progress.watch
    assert watch is not None
    assert watch.still is False
    assert watch.unrest is not None
    assert watch.unrest > 5
    machine.push(loaded.block(load, 20.0, 40.0))
    assert machine.progress.stage == "place"
    reading = machine.taken[-1].reading
    truth = loaded.electronics.zero_counts + load * loaded.electronics.counts_per_N
    assert abs(reading.counts[0] - truth[0]) < 4 * reading.u_counts[0]


def test_what_never_rests_is_refused():
    def shake(loaded):
        still = loaded.block
        loaded.block = lambda loads, seconds, start, swing=0.0: shaken(still(loads, seconds, start))

    def shaken(block):
        wave = 3e4 * np.sin(2 * np.pi * 1.3 * block.board_s)[:, None]
        return CountBlock(0, block.board_s, (block.counts + wave).astype(np.int32), block.lost_before)

    machine, _ = procedure(tamper=shake)
    assert isinstance(refused(machine), NeverStill)


def test_averages_get_their_stated_error():
    # 100 readings of white noise: the mean's spread is what the averager says of it (JCGM 100, 4.2.3).
    rng, ratios = np.random.default_rng(7), []
    for _ in range(100):
        averager = Averager(80.0, [0])
        counts = np.rint(5000 + 600 * rng.standard_normal((80 * 20, 1))).astype(np.int32)
        averager.push(np.arange(80 * 20) / 80.0, CountBlock(0, np.arange(80 * 20) / 80.0, counts))
        assert averager.reading is not None
        ratios.append((averager.reading.counts[0] - 5000) / averager.reading.u_counts[0])
    assert 0.75 < np.std(ratios) < 1.25


def test_a_drifting_reading_says_that_it_will_never_be_good_enough():
    n = 80 * 90
    t_s = np.arange(n) / 80.0
    counts = 1e5 + 20 * t_s + np.random.default_rng(8).standard_normal(n) * 5
    averager = Averager(80.0, [0], zero_counts=np.zeros(1), target_share=1e-4)
    averager.push(t_s, CountBlock(0, t_s, counts[:, None].astype(np.int32)))
    assert averager.reading is not None
    assert averager.reading.limited_by == "drift"
    assert averager.reading.seconds < 20


def test_a_result_names_the_reading_that_drifted():
    def drift(loaded):
        still = loaded.block
        loaded.block = lambda loads, seconds, start, swing=0.0: drifting(still(loads, seconds, start, swing), loads)

    def drifting(block, loads):
        # The cell creeps under the last loads, from 80 s on.
        creep = 200.0 * np.clip(block.board_s - 80.0, 0.0, 14.0)[:, None] * (np.abs(loads) > 0)
        return CountBlock(0, block.board_s, (block.counts + creep).astype(np.int32), block.lost_before)

    machine, _ = procedure(tamper=drift)
    limited = [t.step.number for t in machine.taken if t.reading.limited_by == "drift"]
    assert len(limited) == 1
    flags = [flag for flag in machine.finish(AT).flags if "less certain than wanted" in flag]
    assert flags == [f"step {limited[0]}: the mean is less certain than wanted, it drifts"]


def test_wild_and_failed_readings_are_left_out():
    n = 80 * 20
    t_s, counts = np.arange(n) / 80.0, np.full((n, 1), 4000, dtype=np.int32)
    counts += np.random.default_rng(9).integers(-30, 31, (n, 1)).astype(np.int32)
    counts[400::97] = 8_000_000
    counts[450::91] = -(2**31)
    averager = Averager(80.0, [0])
    averager.push(t_s, CountBlock(0, t_s, counts))
    assert averager.reading is not None
    assert averager.reading.counts[0] == pytest.approx(4000, abs=3)


def test_a_cold_rig_is_waited_for_and_a_person_may_go_on():
    plan = plan_for(ONE, AB, **SHORT)
    machine = GuidedCalibration(ONE, plan, warm_up_s=10.0)
    warming = 2000.0 / 2**22  # N per count of the reference electronics
    t_s = np.arange(80 * 12) / 80.0
    drifting = (0.5 / 60 * t_s / warming)[:, None] + np.random.default_rng(1).standard_normal((len(t_s), 1))
    machine.push(CountBlock(0, t_s, drifting.astype(np.int32)))
    progress = machine.progress
    assert progress.stage == "warm_up"
    assert progress.drift_N_per_min == pytest.approx(0.5, rel=0.05)
    assert "0.50 N a minute" in progress.do
    machine.push(CountBlock(0, 20 + t_s, np.ones((len(t_s), 1), dtype=np.int32)))
    assert machine.progress.stage == "place"
    other = GuidedCalibration(ONE, plan, warm_up_s=10.0)
    other.skip_warm_up()
    assert other.progress.stage == "place"


def test_a_board_that_starts_anew_repeats_the_running_reading():
    plan = plan_for(ONE, AB, **SHORT)
    loaded, machine = LoadedRig(ONE, plan, 4), GuidedCalibration(ONE, plan, warm_up_s=0)
    machine.confirm()
    first = loaded.block(np.zeros(1), 9.0, 100.0)
    machine.push(first)
    again = loaded.block(np.zeros(1), 25.0, 0.0)
    machine.push(replace(again, segment=1))
    assert machine.progress.stage == "place"
    reading = machine.taken[0].reading
    # Settled and averaged after the restart alone: 9 s before it, 3 s of grace, 3 s of settling, then the mean.
    assert 9.0 < reading.seconds < 12.0
    assert reading.t_s == pytest.approx(3.0 + 9.0 + 3.0 + 3.0 + reading.seconds / 2, abs=0.1)
    guided(loaded, machine)
    assert "the board started anew in between" in machine.finish(AT).flags


def test_going_back_reads_a_step_again():
    plan = plan_for(ONE, AB, **SHORT)
    loaded, machine = LoadedRig(ONE, plan, 4), GuidedCalibration(ONE, plan, warm_up_s=0)
    machine.confirm()
    machine.push(loaded.block(np.zeros(1), 20.0, 0.0))
    assert len(machine.taken) == 1
    machine.back()
    assert len(machine.taken) == 0
    assert machine.progress.stage == "place"
    with pytest.raises(CalibrationUnfinished):
        machine.finish(AT)


def test_a_mass_that_moves_nothing():
    def unplug(loaded):
        loaded.electronics.counts_per_N[:] = 0.0

    assert isinstance(refused(procedure(tamper=unplug)[0]), MassMovesNothing)


def test_swapped_cables_are_named():
    def swap(loaded):
        loads = loaded.loads_N
        loaded.loads_N = lambda step: loads(step)[::-1].copy()

    refusal = refused(procedure(BAR, [{"part": "bar", "at": "left", "masses": ["A", "B"]}], tamper=swap)[0])
    assert isinstance(refusal, MassMovesNothing)
    assert "right moved instead" in refusal.means


@pytest.mark.parametrize("in_pounds", ["A", "B"])
def test_a_mass_typed_in_pounds(in_pounds):
    def pounds(loaded):
        loaded.true_kg[in_pounds] *= 0.45359237

    refusal = refused(procedure(tamper=pounds)[0])
    assert isinstance(refusal, MassInPounds)
    assert refusal.what.startswith(in_pounds)
    assert "9.07 kg" in refusal.do  # 20 lb


def test_masses_in_pounds_are_detected_by_the_last_calibration():
    def pounds(loaded):
        for name in loaded.true_kg:
            loaded.true_kg[name] *= 0.45359237

    last = Calibration((ChannelCalibration("hook", 0.0, 2000.0 / 2**22),))
    assert isinstance(refused(procedure(tamper=pounds, previous=last)[0]), MassInPounds)


def test_a_mass_that_is_not_as_given():
    def rests(loaded):
        loaded.true_kg["B"] *= 0.7

    assert isinstance(refused(procedure(tamper=rests)[0]), MassNotAsGiven)


def test_signs_that_flip():
    def lifted(loaded):
        loaded.true_kg["B"] *= -0.5

    assert isinstance(refused(procedure(tamper=lifted)[0]), SignFlips)
    turned = Calibration((ChannelCalibration("hook", 0.0, -2000.0 / 2**22),))
    refusal = refused(procedure(previous=turned)[0])
    assert isinstance(refusal, SignFlips)
    assert "last calibration" in refusal.what


def test_a_cell_mounted_upside_down_is_fine():
    def turned(loaded):
        loaded.electronics.counts_per_N *= -1

    machine, loaded = procedure(tamper=turned)
    channel = machine.finish(AT).calibration.channels[0]
    assert channel.N_per_count < 0
    assert abs(channel.N_per_count / loaded.true_N_per_count[0] - 1) < 3 * channel.u_rel_span


def test_a_saturated_converter():
    def saturate(loaded):
        loaded.electronics.counts_per_N *= 50

    assert isinstance(refused(procedure(tamper=saturate)[0]), ConverterSaturated)


def test_a_refused_step_is_done_again():
    def rests(loaded):
        loaded.true_kg["B"] *= 0.7

    machine, loaded = procedure(tamper=rests)
    refused(machine)
    loaded.true_kg["B"] /= 0.7
    step, t_s = machine.step, 1000.0
    machine.confirm()
    while machine.progress.stage == "reading":
        machine.push(loaded.block(loaded.loads_N(step), 1.0, t_s))
        t_s += 1.0
    assert machine.progress.stage == "place"
    assert machine.taken[-1].step == step


def test_parts_outside_the_plan_keep_their_calibration():
    plan = plan_for(BAR, [{"part": "bar", "at": s, "masses": ["A", "B"]} for s in ("left", "right")], **SHORT)
    rig = replace(BAR, channels=(*BAR.channels, replace(BAR.channels[0], name="foot", part="platform", x_m=0.0)))
    last = Calibration(
        (
            ChannelCalibration("left", 0.0, 4.8e-4, 1.0, 0.01),
            ChannelCalibration("right", 0.0, 4.8e-4, 1.0, 0.01),
            ChannelCalibration("foot", 5.0, 3e-4, 1.0, 0.02, "2025", "2025"),
        )
    )
    loaded = LoadedRig(rig, plan, 6)
    outcome = guided(loaded, GuidedCalibration(rig, plan, previous=last, warm_up_s=0)).finish(AT)
    assert outcome.calibration.channels[2] == last.channels[2]
    assert outcome.calibration.span_covariance[2] == (0.0, 0.0, pytest.approx(4e-4))
    assert set(outcome.change_rel) == {"left", "right"}
    assert "as in the last calibration: foot" in outcome.flags
