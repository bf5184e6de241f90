"""SciPy's compiled loops without their packages: the same bits as the public functions, which stand in for them."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy import optimize

from monitor.signals import scipy_loops
from monitor.signals.iir_filters import low_pass


def test_the_compiled_filter_equals_the_public_one_to_the_bit():
    random = np.random.default_rng(3)
    sections = np.array(low_pass(4, 10.0, 80.0))
    signals, states = random.standard_normal((3, 50)), random.standard_normal((3, 2, 2))
    public_signals, public_states = signals.copy(), states.copy()
    assert scipy_loops.sosfilt_loop() is not scipy_loops.public_sosfilt
    scipy_loops.sosfilt_loop()(sections, signals, states)
    scipy_loops.public_sosfilt(sections, public_signals, public_states)
    np.testing.assert_array_equal(public_signals, signals)
    np.testing.assert_array_equal(public_states, states)


@pytest.mark.parametrize("change", ["missing", "other_answer", "other_arguments", "other_name"])
def test_the_public_filter_is_used_where_scipy_has_changed_the_compiled_one(monkeypatch, tmp_path, change):
    bodies = {
        "other_answer": "def _sosfilt(sections, signals, states): pass",
        "other_arguments": "def _sosfilt(sections): pass",
        "other_name": "def another(sections, signals, states): pass",
    }
    (tmp_path / "signal").mkdir()
    (tmp_path / "__init__.py").write_text("")
    if change in bodies:
        (tmp_path / "signal" / "_sosfilt.py").write_text(bodies[change])
    monkeypatch.setattr("scipy.__file__", str(tmp_path / "__init__.py"))
    monkeypatch.setitem(sys.modules, "scipy.signal._sosfilt", None)  # restored afterwards
    monkeypatch.delitem(sys.modules, "scipy.signal._sosfilt")
    assert scipy_loops.sosfilt_loop.__wrapped__() is scipy_loops.public_sosfilt


def test_the_compiled_root_search_equals_the_public_one_to_the_bit():
    assert scipy_loops.brentq_loop() is not scipy_loops.public_brentq
    for xtol in (1e-5, 1e-12):
        root = scipy_loops.brentq(lambda x: x**3 - x - 1, 1.0, 2.0, xtol)
        assert root == optimize.brentq(lambda x: x**3 - x - 1, 1.0, 2.0, xtol=xtol)
    with pytest.raises(ValueError, match="sign"):
        scipy_loops.brentq(np.cosh, -1.0, 1.0, 1e-5)


@pytest.mark.parametrize("change", [None, lambda *_: 1.0, lambda: None])
def test_the_public_root_search_is_used_where_scipy_has_changed_the_compiled_one(monkeypatch, change):
    class Module:
        _brentq = staticmethod(change) if change else None

    monkeypatch.setattr(scipy_loops, "compiled_module", lambda *_: Module)
    search = scipy_loops.brentq_loop.__wrapped__()
    assert search is scipy_loops.public_brentq
    assert search(np.cos, 0.0, 3.0, 1e-12) == pytest.approx(np.pi / 2, abs=1e-12)


def test_three_threads_load_a_loop_at_once_before_or_after_the_whole_package():
    """In a child process: this one has imported the whole of ``scipy.signal``."""
    for first, second in (("compiled()", "public()"), ("public()", "compiled()")):
        code = f"""
import threading
import numpy as np
from monitor.signals.iir_filters import StreamingFilter, low_pass
from monitor.signals.scipy_loops import public_sosfilt, sosfilt_loop
def compiled():
    together, loops = threading.Barrier(3), []
    threads = [threading.Thread(target=lambda: (together.wait(), loops.append(sosfilt_loop()))) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(loops) == 3 and public_sosfilt not in loops
    return StreamingFilter(low_pass(2, 8.0, 80.0)).push(np.eye(20)[:, 3:4])
def public():
    import scipy.signal
    sections = np.array(low_pass(2, 8.0, 80.0))
    return scipy.signal.sosfilt(sections, np.eye(20)[:, 3:4], axis=0, zi=np.zeros((1, 2, 1)))[0]
assert ({first} == {second}).all()
print("equal")
"""
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
        assert (done.stdout, done.returncode) == ("equal\n", 0), done.stderr
