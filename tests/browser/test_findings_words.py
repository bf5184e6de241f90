"""What checks and calibrations find is said in German: every sentence, from every line that makes one."""

from __future__ import annotations

import ast
import inspect
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import FrameType, ModuleType
from typing import Any

import numpy as np
import pytest

from firmware_bridge.events import BoardFacts, BoardFault
from monitor.demo.virtual_rig import demo_rig
from monitor.health import board, cells, creep, load_agreement, ratings
from monitor.health.cells import Stillness
from monitor.health.checkup import Checkup
from monitor.health.verdict import Verdict
from monitor.newtons.calibrating import guided_calibration, outcome, part_figures
from monitor.newtons.calibration import Calibration, ChannelCalibration

pytestmark = pytest.mark.browser

RIG = demo_rig()
CALIBRATION = Calibration(tuple(ChannelCalibration(c.name, 0.0, 1e-3) for c in RIG.channels), "invented")
MODULES = (load_agreement, board, cells, creep, ratings)

GERMAN = """async (found) => {
    const { translateFinding } = await import("/static/lib/words.js");
    return found.map((said) => translateFinding(said));
}"""


def facts(**more: Any) -> BoardFacts:
    messages = BoardFacts(0, 1, (0, 1, 0), b"virtual0", 1, len(RIG.channels), 80.0, 0, 6250, "virtual")
    return replace(messages, **more)


def cell(noise_N: float | None = 0.3, counts: float = 60.0, drift: float | None = 0.05) -> Stillness:
    return Stillness("bar_left", noise_N, counts, 0.1, drift, 0.01, 0.0, None)


def standing(*loads_N: float) -> load_agreement.Standing:
    return load_agreement.Standing(np.array(loads_N, dtype=float))


def of_the_board() -> Iterator[Verdict]:
    yield board.answer_verdict(RIG, None, "", "")
    yield board.answer_verdict(RIG, facts(channels=4), "", "")
    yield board.answer_verdict(RIG, facts(), "", "")
    for measured_Hz in (None, 80.0, 74.0, 10.8):
        yield board.rate_verdict(RIG, facts(), measured_Hz)
    for samples, lost in ((0, 0), (10_000, 5), (10_000, 500)):
        yield board.loss_verdict(samples, lost, 2, ())
    yield board.loss_verdict(10_000, 0, 0, (BoardFault(0, 1, 2, "no answer"),))


def of_the_cells() -> Iterator[Verdict]:
    for one, converter in (
        (cell(None), "HX711"),
        (cell(counts=0.1), "HX711"),
        (cell(), "HX711"),
        (cell(counts=900.0), "HX711"),
        (cell(), ""),
        (cell(noise_N=1234.5), "own"),
    ):
        yield cells.noise_verdict(one, converter, 80.0)
    for one, seconds in ((cell(drift=None), 60.0), (cell(), 60.0), (cell(drift=-1.0), 1800.0)):
        yield cells.drift_verdict(one, seconds)
    steps = np.eye(len(RIG.channels))
    pressed: dict[str, Any] = {name: 100 * steps[i] for i, name in enumerate(RIG.names)}
    yield from cells.press_verdicts(RIG, pressed)
    yield from cells.press_verdicts(RIG, {"bar_left": None})
    yield from cells.press_verdicts(RIG, {"bar_left": -100 * steps[0]})
    yield from cells.press_verdicts(RIG, {"bar_left": 100 * steps[1], "bar_right": 100 * steps[0]})
    yield from cells.press_verdicts(RIG, {"bar_left": 100 * steps[1]})
    yield from cells.press_verdicts(RIG, {"bar_left": 100 * steps[1] + 30 * steps[0]})


def of_half_an_hour() -> Iterator[Verdict]:
    rows = 1800 * 10
    still = 0.05 * np.random.default_rng(1).standard_normal(rows)
    yield creep.creep_verdict("bar_left", still, 10.0, None)
    yield creep.creep_verdict("bar_left", np.full(rows, np.nan), 10.0, 2000.0)
    yield creep.creep_verdict("bar_left", still, 10.0, 2000.0)
    yield creep.creep_verdict("bar_left", still + np.arange(rows) / 1000, 10.0, 2000.0)


def of_load_agreement() -> Iterator[Verdict]:
    stood, hung = standing(0, 0, 175, 175, 175, 175), standing(350, 350, 0, 0, 0, 0)
    more, less = standing(380, 380, 0, 0, 0, 0), standing(300, 300, 0, 0, 0, 0)
    corner = standing(0, 0, 640, 40, 40, 32)
    for calibration in (None, CALIBRATION):
        yield load_agreement.corner_verdict("platform", {"foot_fl": None, "foot_fr": stood}, calibration)
        yield load_agreement.closure_verdict(stood, [("hanging", hung)], calibration)
    yield load_agreement.corner_verdict("platform", {"foot_fl": stood, "foot_fr": stood}, CALIBRATION)
    yield load_agreement.corner_verdict("platform", {"foot_fl": corner, "foot_fr": stood, "foot_rl": None}, CALIBRATION)
    yield load_agreement.closure_verdict(None, [("hanging", hung)], CALIBRATION)
    yield load_agreement.closure_verdict(stood, [("hanging", None)], CALIBRATION)
    yield load_agreement.closure_verdict(
        stood, [("hanging to the left", more), ("hanging to the right", hung)], CALIBRATION
    )
    yield load_agreement.closure_verdict(stood, [("hanging to the right", less)], CALIBRATION)


def of_ratings() -> Iterator[Verdict]:
    for rated_N, mount_N, peak_N in (
        (3000.0, None, None),
        (3000.0, 3000.0, None),
        (3000.0, 3000.0, 3100.0),
        (2000.0, 2000.0, None),
        (900.0, 3000.0, None),
        (None, 3000.0, None),
    ):
        channels = tuple(replace(channel, rated_N=rated_N) for channel in RIG.channels)
        rig = replace(RIG, mount_rating_N=mount_N, channels=channels)
        yield from ratings.rating_verdicts(rig, 130.0, peak_N)


def of_a_check_that_was_cut_off() -> Iterator[Verdict]:
    for calibration in (None, CALIBRATION):
        checkup = Checkup(RIG, calibration)
        checkup.give_up("The board sends 4 channels.")
        yield from checkup.verdicts()


def sentences(verdicts: Iterator[Verdict]) -> set[str]:
    return {said for verdict in verdicts for said in (verdict.title, verdict.words, verdict.do) if said}


def lines_that_speak(module: ModuleType) -> dict[int, str]:
    """Return the first lines of statements within functions that hold a sentence."""
    tree = ast.parse(inspect.getsource(module))
    result = {}
    for function in (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
        for node in ast.walk(function):
            if isinstance(node, (ast.Assign, ast.AugAssign, ast.Return)):
                pieces = [c.value for c in ast.walk(node) if isinstance(c, ast.Constant) and isinstance(c.value, str)]
                if any(re.search(r"[a-z] [a-z]", piece) for piece in pieces):
                    result[node.lineno] = ast.unparse(node)
    return result


def heard(speak: Callable[[], None]) -> dict[str, set[int]]:
    """Return the lines of each module's file that ran."""
    ran: dict[str, set[int]] = {str(module.__file__): set() for module in MODULES}

    def trace(frame: FrameType, _event: str, _argument: object) -> Any:
        lines = ran.get(frame.f_code.co_filename)
        if lines is None:
            return None
        lines.add(frame.f_lineno)
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        speak()
    finally:
        sys.settrace(before)
    return ran


@pytest.fixture(scope="module")
def page(chromium, hall):
    context = chromium.new_context(locale="de-DE")
    page = context.new_page()
    page.goto(hall.url + "/holds")
    yield page
    context.close()


def test_every_verdict_has_german_words(page):
    said: set[str] = set()

    def speak() -> None:
        for verdicts in (
            of_the_board(),
            of_the_cells(),
            of_half_an_hour(),
            of_load_agreement(),
            of_ratings(),
            of_a_check_that_was_cut_off(),
        ):
            said.update(sentences(verdicts))

    ran = heard(speak)
    for module in MODULES:
        silent = {n: line for n, line in lines_that_speak(module).items() if n not in ran[str(module.__file__)]}
        assert silent == {}, f"{module.__name__}: no case here makes these lines speak"
    in_order = sorted(said)
    german = page.evaluate(GERMAN, in_order)
    assert [one for one, own in zip(in_order, german, strict=True) if own is None] == []
    assert [own for own in german if re.search(r"undefined|NaN|\b(the|of|and)\b", own)] == []


def test_every_remark_of_a_calibration_has_german_words(page):
    """The remarks as their templates stand in the source, with a cell, a part, a mass or a number in each gap."""
    gaps = {"names": "bar_left, bar_right", "figures": "bar", "name": "bar_left", "why": "it drifts", "now": "3"}
    said = []
    for module, function in (
        (outcome, "_untouched"),
        (outcome, "_remarks"),
        (part_figures, "_checks"),
        (guided_calibration, "GuidedCalibration"),
    ):
        tree = ast.parse(inspect.getsource(module))
        (whole,) = [n for n in tree.body if isinstance(n, (ast.FunctionDef, ast.ClassDef)) and n.name == function]
        for text in remarks_in(whole):
            parts = []
            for piece in text.values if isinstance(text, ast.JoinedStr) else [text]:
                if isinstance(piece, ast.Constant):
                    parts.append(str(piece.value))
                elif isinstance(piece, ast.FormattedValue):
                    first = next(n.id for n in ast.walk(piece.value) if isinstance(n, ast.Name))
                    number = "+1.2%" if piece.format_spec and "%" in ast.unparse(piece.format_spec) else "12"
                    parts.append(number if piece.format_spec else gaps.get(first, number))
            said.append("".join(parts))
    assert len(said) >= 15
    german = page.evaluate(GERMAN, said)
    assert [one for one, own in zip(said, german, strict=True) if own is None] == []


def remarks_in(node: ast.AST) -> Iterator[ast.JoinedStr | ast.Constant]:
    """Yield the texts that become flags, remarks or names of comparisons."""
    for one in ast.walk(node):
        texts: list[ast.expr] = []
        if isinstance(one, ast.Call):
            name = one.func.attr if isinstance(one.func, ast.Attribute) else getattr(one.func, "id", "")
            owner = ast.unparse(one.func.value) if isinstance(one.func, ast.Attribute) else ""
            if name == "Check" or (name == "append" and owner in {"self._flags", "remarks"}):
                texts = one.args[:1]
        elif isinstance(one, (ast.AugAssign, ast.Return)) and isinstance(one.value, (ast.List, ast.ListComp)):
            texts = one.value.elts if isinstance(one.value, ast.List) else [one.value.elt]
        yield from (text for text in texts if isinstance(text, (ast.JoinedStr, ast.Constant)))
