"""What people do on the rig: calm stays, the curves' eight kinds, and hard cases."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.physics.body import GRAVITY_m_s2, Setting
from tests.physics.people import Person, draw_person
from tests.physics.script import Script, Shape
from tests.physics.wiring import Trouble

CLEAR_m = 0.055
ON_s = 3.0
GRIP_s = 8.0
HANG_s = 9.0

SCENARIOS: dict[str, Callable[[Person, int], Script]] = {}


def scenario(make: Callable[[Person, int], Script]) -> Callable[[Person, int], Script]:
    """Keep a scenario under its own name."""
    SCENARIOS[make.__name__] = make
    return make


def make_script(name: str, seed: int) -> Script:
    """Return a scenario played by the person of that seed."""
    script = SCENARIOS[name](draw_person(seed), seed)
    script.name = name
    return script


def _stands(person: Person, seed: int, seconds: float, setting: Setting | None = None) -> Script:
    """Begin: nobody, then a person who steps onto the platform and stands."""
    script = Script(person, seconds, seed, setting=setting or _setting(person, seed))
    script.sway()
    script.go("floor", ON_s, 0.9, 0.0)
    return script


def _setting(person: Person, seed: int, gap_m: float = 0.0) -> Setting:
    rng = np.random.default_rng([seed, 0x5E7])
    return Setting(
        gap_m=gap_m,
        grip_half_m=person.half_shoulders_m * rng.uniform(1.0, 1.3),
        platform_x_m=rng.uniform(-0.03, 0.03),
        platform_y_m=rng.uniform(-0.05, 0.03),
    )


def _hangs(script: Script, at_s: float = HANG_s, takes_s: float = 1.0, clear_m: float = CLEAR_m) -> None:
    """Take the bar while standing, then draw up the legs until the hands carry everything."""
    sag = _sag_m(script.person)
    script.close(at_s - 1.0, soft_s=0.08)
    script.both("leg", at_s, takes_s, sag + clear_m)
    script.go("guide", at_s + 0.6 * takes_s, 0.8, 0.0)


def _sag_m(person: Person) -> float:
    """Return how far a person sinks between standing and hanging: blades and grip give way."""
    return GRAVITY_m_s2 / (2 * np.pi * person.bounce_Hz) ** 2 + 0.004


def _steps_down(script: Script, at_s: float, takes_s: float = 0.9) -> None:
    """Put the feet down again, let go, stand, leave the platform."""
    script.both("leg", at_s, takes_s, 0.0)
    script.both("push", at_s, 0.3, 0.0)
    # Knees give way a little when the feet arrive, then straighten.
    script.both("legs", at_s, 0.4, 0.25)
    script.both("legs", at_s + 0.8 * takes_s, 0.7, 1.0)
    script.go("guide", at_s + 0.4 * takes_s, 0.6, 1.0)
    script.open(at_s + 0.8 * takes_s + 0.8)
    _leaves(script, at_s + takes_s + 4.5)


def _drops(script: Script, at_s: float) -> None:
    """Let go with both hands and land on the platform."""
    script.open(at_s)
    script.go("guide", at_s, 0.05, 1.0)
    script.both("leg", at_s, 0.08, 0.0)
    _leaves(script, at_s + 5.0)


def _leaves(script: Script, at_s: float) -> None:
    script.go("floor", at_s, 0.6, 1.0)


def _event(script: Script, kind: str, **more: object) -> None:
    script.events.append({"kind": kind, **more})


def _pull(script: Script, at_s: float, takes_s: float, to_m: float, shape: Shape = "minimum-jerk") -> None:
    """Draw the shoulder blades down (or let them go) to a travel of ``to_m``."""
    before = -float(script.track("blade_left")[round(at_s * 960)])
    script.both("blade", at_s, takes_s, -to_m, shape)
    kind = "passive_to_active" if to_m > before else "active_to_passive"
    _event(script, kind, t_s=at_s, duration_s=takes_s, commanded_mm=1e3 * (to_m - before), shape=shape)


@scenario
def stands_hangs(person: Person, seed: int) -> Script:
    """Stand, hang unassisted and passive, step down."""
    script = _stands(person, seed, 55.0)
    end = 42.0 + script.rng.uniform(-4, 2)
    _hangs(script, takes_s=script.rng.uniform(0.6, 1.4))
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end, script.rng.uniform(0.6, 1.4))
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"calm", "quiet", "unassisted"}
    return script


@scenario
def drops_off(person: Person, seed: int) -> Script:
    """Hang passive, then let go with both hands at once."""
    script = _stands(person, seed, 48.0)
    end = 35.0 + script.rng.uniform(-4, 2)
    _hangs(script, takes_s=script.rng.uniform(0.6, 1.4))
    script.tremble(HANG_s, end)
    _drops(script, end)
    script.holds.append((HANG_s - 1.0, end + 1.0))
    script.tags |= {"calm", "quiet", "unassisted"}
    return script


def _assisted(
    script: Script, share: float, at_s: float = HANG_s, *, sides: tuple[str, ...] = ("left", "right")
) -> None:
    """Take the bar, let the legs become springs that push with a share of bodyweight."""
    weight = script.person.mass_kg * GRAVITY_m_s2
    script.close(at_s - 1.0, soft_s=0.08)
    for side in ("left", "right"):
        script.go(f"legs_{side}", at_s, 1.0, 0.0)
        if side in sides:
            script.go(f"push_{side}", at_s, 1.0, share * weight / len(sides))
        else:
            script.go(f"leg_{side}", at_s, 0.8, _sag_m(script.person) + CLEAR_m)
            script.tracks[f"legs_{side}"][:] = 1.0
    script.go("guide", at_s + 0.6, 0.8, 0.0)


@scenario
def assisted_growing(person: Person, seed: int) -> Script:
    """Assisted hang: the feet's share grows."""
    script = _stands(person, seed, 58.0)
    rng, end = script.rng, 45.0
    low, high = rng.uniform(0.05, 0.12), rng.uniform(0.25, 0.4)
    _assisted(script, low)
    script.both("push", 14.0, 28.0, 0.5 * high * person.mass_kg * GRAVITY_m_s2, "linear")
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end)
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"quiet"}
    return script


@scenario
def pulls(person: Person, seed: int) -> Script:
    """Passive, shoulder blades drawn down, let go, again smaller and with another course of time."""
    script = _stands(person, seed, 70.0)
    rng, end = script.rng, 57.0
    _hangs(script)
    first, second = rng.uniform(0.035, 0.065), rng.uniform(0.018, 0.03)
    shapes: tuple[Shape, ...] = ("minimum-jerk", "trapezoid", "sine")
    shape = shapes[int(rng.integers(3))]
    _pull(script, 18.0 + rng.uniform(0, 2), rng.uniform(0.6, 1.3), first)
    _pull(script, 29.0 + rng.uniform(0, 2), rng.uniform(0.6, 1.3), 0.0, shape)
    _pull(script, 39.0 + rng.uniform(0, 1), rng.uniform(0.5, 0.9), second, shape)
    _pull(script, 48.0 + rng.uniform(0, 1), rng.uniform(0.5, 0.9), 0.0)
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end)
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"calm", "quiet", "unassisted", "pulls"}
    return script


def _swings(script: Script, at_s: float, degrees: float, *, settle_s: float = 1.0) -> None:
    """Push the pelvis forwards once so that the body swings by about that many degrees."""
    person = script.person
    reach = person.reach_m - person.thigh_m - person.shank_m - person.ankle_m
    pivot, frequency = 1.28 * person.mass_kg * (1.03 * person.stature_m / 1.75) ** 2, 0.45
    impulse = np.radians(degrees) * pivot * 2 * np.pi * frequency / reach
    length = 0.5
    script.bump("push_y", at_s, length, impulse / (length - 0.2), 0.2)
    _event(script, "swing", t_s=at_s + settle_s, degrees=degrees)


@scenario
def swing_decays(person: Person, seed: int) -> Script:
    """Hang with a fore-aft swing that dies down."""
    script = _stands(person, seed, 75.0)
    rng, end = script.rng, 63.0
    _hangs(script)
    _swings(script, 12.0, rng.uniform(4.0, 9.0))
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end)
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"calm", "quiet", "unassisted", "swing"}
    return script


@scenario
def third_support(person: Person, seed: int) -> Script:
    """A door frame takes a share of bodyweight for a while; no cell sees it."""
    script = _stands(person, seed, 62.0)
    rng, end = script.rng, 50.0
    _hangs(script)
    share, start, length = rng.uniform(0.05, 0.15), rng.uniform(18, 22), rng.uniform(10, 20)
    script.bump("lift", start, length, share * person.mass_kg * GRAVITY_m_s2, 0.6)
    _event(script, "third_support", t0_s=start, t1_s=start + length, frac=share, rise_s=0.6)
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end)
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"quiet", "unassisted"}
    return script


def trouble_of(name: str, seed: int) -> Trouble:
    """Return what is wrong with the electronics in a scenario."""
    del seed
    return TROUBLES.get(name, Trouble())


TROUBLES: dict[str, Trouble] = {}

SHARES: dict[str, int] = {
    "stands_hangs": 2,
    "drops_off": 2,
    "assisted_growing": 2,
    "pulls": 1,
    "swing_decays": 1,
    "third_support": 2,
}
"""Every how many bodies play a scenario."""
