"""Loads in the unit that was chosen, with digits as the uncertainty allows. Kept data stays newtons."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

SHOWN = """async ([unit, call, ...given]) => {
    localStorage.setItem("unit", unit);
    const units = await import("/static/lib/units.js");
    return units[call](...given);
}"""


@pytest.fixture(scope="module")
def page(chromium, hall):
    context = chromium.new_context(locale="en-GB")
    page = context.new_page()
    page.goto(hall.url + "/holds")
    expect(page.locator("#table")).to_be_visible()
    yield page
    context.close()


@pytest.mark.parametrize(
    ("unit", "messages"),
    [
        ("N", "702 N"),
        # 702.4 / 9.80665 = 71.625 (normal gravity: 3rd CGPM 1901); the made-up rig has no gravity of its own
        ("kgf", "71.6 kg"),
        # 702.4 / 4.4482216152605 = 157.906 (pound-force: NIST SP 811, 2008, appendix B.8)
        ("lbf", "157.9 lb"),
        # 702.4 of 650 N
        ("%BW", "108.1 %"),
    ],
)
def test_a_load_in_each_unit(page, unit, messages):
    assert page.evaluate(SHOWN, [unit, "loadText", 702.4, {"bodyweight_N": 650}]) == messages


def test_digits_end_where_the_uncertainty_begins(page):
    # GUM (JCGM 100:2008) 7.2.6: value and uncertainty end at the same digit; the uncertainty is rounded up
    assert page.evaluate(SHOWN, ["kgf", "loadText", 702.4, {"u_N": 12.0}]) == "72 ± 2 kg"
    assert page.evaluate(SHOWN, ["kgf", "loadText", 702.4, {"u_N": 2.0}]) == "71.6 ± 0.3 kg"
    assert page.evaluate(SHOWN, ["N", "loadText", 702.4, {"u_N": 2.0}]) == "702 ± 2 N"


def test_percent_without_a_bodyweight_is_kilograms(page):
    assert page.evaluate(SHOWN, ["%BW", "loadText", 98.0665, {}]) == "10.0 kg"


@pytest.mark.parametrize(
    ("unit", "messages"),
    # 0.98 N are 0.98 / 9.80665 = 0.0999 kgf and 0.98 / 4.4482216152605 = 0.2203 lbf (sources as above)
    [("N", "+0.98 N"), ("kgf", "+0.100 kg"), ("lbf", "+0.220 lb")],
)
def test_a_change_has_its_sign_and_the_digits_of_a_hundredth_of_a_newton(page, unit, messages):
    assert page.evaluate(SHOWN, [unit, "changeText", 0.98, 2]) == messages
    assert page.evaluate(SHOWN, [unit, "changeText", -0.98, 2]) == messages.replace("+", "\u2212")


def test_nothing_stays_nothing(page):
    assert page.evaluate(SHOWN, ["kgf", "load", None]) is None
    assert page.evaluate(SHOWN, ["kgf", "loadText", None]) == ""


def test_a_plate_reads_its_mass_at_the_rigs_own_gravity(page):
    text = page.evaluate(
        """async () => {
            localStorage.setItem("unit", "kgf");
            const { useGravity, loadText } = await import("/static/lib/units.js");
            useGravity(9.78);
            const told = loadText(20 * 9.78, { digits: 1 });
            useGravity(9.80665);
            return told;
        }"""
    )
    assert text == "20.00 kg"


@pytest.mark.parametrize("unit", ["N", "kgf", "lbf", "%BW"])
def test_an_axis_has_round_numbers_in_its_unit(page, unit):
    axis = page.evaluate(SHOWN, [unit, "loadAxis", 0, 800, 700])
    names = [float(tick["name"]) for tick in axis["ticks"]]
    step = names[1] - names[0]
    assert names[0] == 0
    assert 3 <= len(names) <= 6
    assert step in {20, 50, 100, 200, 500}
    newtons = {"N": 1.0, "kgf": 9.80665, "lbf": 4.4482216152605, "%BW": 7.0}[unit]
    assert [tick["at_N"] for tick in axis["ticks"]] == pytest.approx([name * newtons for name in names])


def test_the_page_of_a_hold_speaks_pounds(open_page, hall):
    page = open_page("about:blank")
    page.add_init_script("localStorage.setItem('unit', 'lbf')")
    page.goto(f"{hall.url}/hold/{hall.holds[0].uid}")
    weight_N = hall.holds[0].bodyweight_N
    expect(page.locator("#rows")).to_contain_text(f"{weight_N / 4.4482216152605:.1f}")
    expect(page.locator("#rows")).to_contain_text(" lb")
    expect(page.locator("#rows")).not_to_contain_text(" N")
    assert "lb" in page.locator("#paper svg").inner_html()


def test_drift_while_the_rig_warms_up_is_told_in_the_screens_unit(open_page, hall):
    procedure = {
        "id": "1",
        "kind": "calibration",
        "stage": "warm_up",
        "step": 1,
        "steps": 9,
        "by": "coach",
        "practice": False,
    }
    procedure |= {"task": None, "refusal": None, "masses": None, "drift_N_per_min": -0.98}
    page = open_page("about:blank")
    page.add_init_script("localStorage.setItem('unit', 'kgf')")
    page.route("**/api/rig/procedure", lambda route: route.fulfill(json=procedure))
    page.goto(f"{hall.url}/rig/calibrate")
    # 0.98 N / 9.80665 m/s2 (3rd CGPM 1901) = 0.09993 kg
    expect(page.locator("#do")).to_have_text("Leave the rig empty: a cell still drifts by 0.100 kg a minute.")
