"""What people do on the rig: calm stays, the curves' eight kinds, and hard cases."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from monitor.demo.electronics import Faults
from tests.physics.body import STEP_HZ, GRAVITY_m_s2, LEG_N_m, Setting
from tests.physics.people import Person, draw_person
from tests.physics.script import Script, Shape, course
from tests.physics.wiring import Trouble

CLEAR_m = 0.055
LEANS_m = 0.08
"""By this much one side is let out to hang under the other hand: 0.4 m between the hands, 11 degrees."""
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


def _reaches_up(script: Script, at_s: float) -> None:
    """Take the bar while standing, with a little weight in the hands."""
    script.both("leg", at_s - 0.8, 0.6, _leaning_m(script.person, script.rng.uniform(0.02, 0.15)))
    script.close(at_s, soft_s=0.08)


def _hangs(script: Script, at_s: float = HANG_s, takes_s: float = 1.0, clear_m: float = CLEAR_m) -> None:
    """Take the bar while standing, then draw up the legs until the hands carry everything."""
    sag = _sag_m(script.person)
    _reaches_up(script, at_s - 1.0)
    script.both("leg", at_s, takes_s, sag + clear_m)
    script.go("guide", at_s + 0.6 * takes_s, 0.8, 0.0)


def _sag_m(person: Person) -> float:
    """Return how far a person sinks between standing and hanging: blades and grip give way."""
    return GRAVITY_m_s2 / (2 * np.pi * person.bounce_Hz) ** 2 + 0.004


def _leaning_m(person: Person, share: float) -> float:
    """Return how far the legs are drawn up for the hands to take a share of bodyweight: springs above and below."""
    arms = (2 * np.pi * person.bounce_Hz) ** 2
    legs = 2 * LEG_N_m / 75.0
    return float(share * GRAVITY_m_s2 / arms - (1 - share) * GRAVITY_m_s2 / legs)


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
    script.both("legs", at_s, 0.05, 0.2)
    script.both("legs", at_s + 0.8, 0.8, 1.0)
    _leaves(script, at_s + 5.0)


def _leaves(script: Script, at_s: float) -> None:
    script.go("floor", at_s, 0.6, 1.0)


def _event(script: Script, kind: str, **more: object) -> None:
    script.events.append({"kind": kind, **more})


def _pull(script: Script, at_s: float, takes_s: float, to_m: float, shape: Shape = "minimum-jerk") -> None:
    """Draw the shoulder blades down (or let them go) to a travel of ``to_m``."""
    before = -float(script.track("blade_left")[round(at_s * STEP_HZ)])
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
    shank = script.person.shank.mass_kg * GRAVITY_m_s2  # rests on the platform without any push
    _reaches_up(script, at_s - 1.0)
    for side in ("left", "right"):
        script.go(f"legs_{side}", at_s, 1.0, 0.0)
        if side in sides:
            script.go(f"push_{side}", at_s, 1.0, share * weight / len(sides) - shank)
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
    script.both("push", 14.0, 28.0, (0.5 * high * person.mass_kg - person.shank.mass_kg) * GRAVITY_m_s2, "linear")
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end)
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"quiet"}
    return script


@scenario
def pulls(person: Person, seed: int) -> Script:
    """Hang, draw the shoulder blades down, let go, again less far and with another course of time."""
    script = _stands(person, seed, 70.0)
    rng, end = script.rng, 57.0
    _hangs(script)
    # The second pull is clearly less or clearly more than half of the first: passive still, or active.
    weak = rng.random() < 0.5
    first = rng.uniform(0.045, 0.065) if weak else rng.uniform(0.03, 0.065)
    second = first * (rng.uniform(0.33, 0.39) if weak else rng.uniform(0.65, 0.95))
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
    """Hang while a door frame takes a share of bodyweight for a while; no cell sees it."""
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


def _touches(script: Script, at_s: float, share: float, sessions_s: float, side: str, lift_m: float) -> None:
    """Let one foot down onto the platform, press with about a share of bodyweight, draw it up again."""
    weight = script.person.mass_kg * GRAVITY_m_s2
    soft = 0.08
    spring = soft * LEG_N_m * script.person.mass_kg / 75.0
    up = float(script.track(f"leg_{side}")[round(at_s * STEP_HZ)])
    pressed = up - lift_m - share * weight / spring
    script.go(f"legs_{side}", at_s - 1.0, 0.5, soft)
    script.go(f"leg_{side}", at_s - 0.4, 0.4, up - lift_m + 0.004)
    script.go(f"leg_{side}", at_s, 0.15, pressed)
    script.go(f"leg_{side}", at_s + 0.15 + sessions_s, 0.15, up - lift_m + 0.004)
    script.go(f"leg_{side}", at_s + 0.3 + sessions_s, 0.4, up)
    script.go(f"legs_{side}", at_s + 1.2 + sessions_s, 0.5, 1.0)
    _event(script, "foot_touch", t0_s=at_s, t1_s=at_s + 0.3 + sessions_s, frac=share)


def _lets_go(script: Script, at_s: float, side: str) -> None:
    """Lean over until the body hangs under the other hand, then let go."""
    script.go(f"blade_{side}", at_s - 1.0, 1.0, LEANS_m + _sag_m(script.person))
    script.open(at_s, (side,))


def _takes_hold(script: Script, at_s: float, side: str) -> None:
    """Reach up, then lean back."""
    script.close(at_s, (side,), soft_s=0.12)
    script.go(f"blade_{side}", at_s + 0.1, 0.7, 0.0)


@scenario
def changes_hands(person: Person, seed: int) -> Script:
    """Hang from one hand, then from the other, again and again."""
    script = _stands(person, seed, 62.0)
    rng, end = script.rng, 52.0
    _hangs(script, clear_m=0.13)
    at, free = 15.0, "left"
    _lets_go(script, at, free)
    turns = []
    for _ in range(4):
        back = at + rng.uniform(4.0, 5.5)
        off = back + rng.uniform(1.5, 2.0)
        _takes_hold(script, back, free)
        turns.append((back, off, free))
        free = "right" if free == "left" else "left"
        _lets_go(script, off, free)
        at = off
    _takes_hold(script, at + 4.5, free)
    for number, (back, off, to) in enumerate(turns):
        stored = turns[number + 1][0] - 0.2 if number + 1 < len(turns) else at + 4.0
        _event(script, "hands", t_s=back, off_s=off, retained_s=min(stored, off + 3.0), to=to)
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end)
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"unassisted", "swing not judged", "travel not judged"}
    return script


@scenario
def jumps_up(person: Person, seed: int) -> Script:
    """Jump to the bar, one hand lets go and takes hold again, one short touch of a foot, let go."""
    rng = np.random.default_rng([seed, 0x10])
    gap = rng.uniform(0.06, 0.14)
    script = _stands(person, seed, 58.0, _setting(person, seed, gap_m=gap))
    weight, stroke, rise = person.mass_kg * GRAVITY_m_s2, 0.2, gap + 0.02
    script.both("leg", 8.0, 0.8, stroke + 0.01)
    jump = 9.2
    takes = float(np.sqrt(2 * stroke / (GRAVITY_m_s2 * rise / stroke)))
    script.both("legs", jump, 0.02, 0.0)
    script.both("push", jump, 0.06, 0.5 * weight * (1 + rise / stroke) * 1.8)
    script.jump_from_s = jump
    script.both("push", jump + takes, 0.02, 0.0)
    script.both("legs", jump + takes, 0.05, 0.6)
    script.both("leg", jump + takes, 0.1, 0.0)
    script.both("legs", jump + takes + 1.0, 0.3, 1.0)
    script.catch_from_s = jump + takes
    script.go("guide", jump + takes + 1.0, 0.1, 0.0)
    _event(script, "jump", t_s=jump)
    for side, at in (("left", 26.0), ("right", 30.0)):
        _lets_go(script, at, side)
        _takes_hold(script, at + rng.uniform(0.35, 0.6), side)
    end = 47.0
    _touches(script, rng.uniform(37, 41), rng.uniform(0.1, 0.2), rng.uniform(0.1, 0.3), "left", gap - _sag_m(person))
    script.tremble(10.5, end)
    _drops(script, end)
    script.holds.append((jump, end + 1.0))
    script.tags |= {"unassisted", "settles", "swing not judged"}
    return script


def _hops(script: Script, at_s: float, height_m: float, crouch_m: float = 0.08) -> None:
    """Hop once: bend the knees a little, push off, land."""
    weight = script.person.mass_kg * GRAVITY_m_s2
    stroke = 0.08 if crouch_m else 0.03  # from bent knees, or onto the toes
    takes = float(np.sqrt(2 * stroke / (GRAVITY_m_s2 * height_m / stroke)))
    rests = float(script.track("leg_left")[round((at_s - 1.0) * STEP_HZ)])
    if crouch_m:
        script.both("leg", at_s - 0.6, 0.4, crouch_m)
    script.both("legs", at_s, 0.02, 0.0)
    script.both("push", at_s, 0.04, 0.5 * weight * (1 + height_m / stroke) * 1.1)
    script.both("push", at_s + takes, 0.02, 0.0)
    script.both("legs", at_s + takes, 0.05, 0.6)
    script.both("leg", at_s + takes, 0.1, rests)
    script.both("legs", at_s + takes + 0.7, 0.3, 1.0)


@scenario
def never_hangs(person: Person, seed: int) -> Script:
    """Stand, lean on the bar, tug it, hop: no hold at all."""
    script = _stands(person, seed, 48.0)
    rng, sag = script.rng, _sag_m(person)
    script.close(8.0)
    light = _leaning_m(person, 0.02)
    script.both("leg", 7.0, 0.6, light)
    script.both("leg", 9.0, 0.8, _leaning_m(person, rng.uniform(0.08, 0.18)))
    script.both("leg", 14.0, 0.8, light)
    script.both("leg", 18.0, 0.12, light + rng.uniform(0.4, 0.7) * sag)
    script.both("leg", 18.14, 0.12, light)
    script.both("leg", 22.0, 0.5, 0.0)
    script.open(21.0)
    for at in (24.0, 28.0):
        _hops(script, at, rng.uniform(0.02, 0.05))
    _leaves(script, 34.0)
    script.go("floor", 37.0, 0.9, 0.0)
    _leaves(script, 42.0)
    return script


@scenario
def hops_on_one_hand(person: Person, seed: int) -> Script:
    """Hop on the platform while one hand holds the bar: no hold at all."""
    script = _stands(person, seed, 42.0)
    script.both("leg", 7.0, 0.6, _leaning_m(person, 0.02))
    script.close(8.0, ("right",))
    for number in range(8):
        _hops(script, 11.0 + 2.2 * number, script.rng.uniform(0.008, 0.018), crouch_m=0.0)
    script.open(31.0)
    _leaves(script, 34.0)
    script.tags |= {"hard"}
    return script


def _hard(script: Script, end: float, *tags: str) -> Script:
    """End a hard case: tremble, step down, one hold."""
    script.tremble(HANG_s, end + 0.5)
    _steps_down(script, end)
    script.holds.append((HANG_s - 1.0, end + 3.0))
    script.tags |= {"hard", *tags}
    return script


@scenario
def pulls_while_swinging(person: Person, seed: int) -> Script:
    """Swing by some degrees while the shoulder blades are drawn down and let go."""
    script = _stands(person, seed, 66.0)
    rng = script.rng
    _hangs(script)
    _swings(script, 12.0, rng.uniform(3.5, 6.0))
    size = rng.uniform(0.035, 0.06)
    for number, at in enumerate((19.0, 27.0, 36.0, 45.0)):
        _pull(script, at + rng.uniform(0, 1.5), rng.uniform(0.6, 1.2), 0.0 if number % 2 else size)
    return _hard(script, 54.0, "unassisted", "swing", "swing with pulls")


@scenario
def kips(person: Person, seed: int) -> Script:
    """Kip: hips and shoulders drive a large swing for some seconds."""
    script = _stands(person, seed, 60.0)
    _hangs(script)
    drive = (
        np.sin(2 * np.pi * 0.44 * (script.t_s - 15.0))
        * course(script.t_s - 15.0, "sine")
        * course(25.0 - script.t_s, "sine")
    )
    for side in ("left", "right"):
        script.track(f"hip_{side}")[:] += 0.6 * drive
        script.track(f"flex_{side}")[:] += 0.25 * drive
    return _hard(script, 48.0, "unassisted", "swing not judged", "travel not judged")


@scenario
def sinks_slowly(person: Person, seed: int) -> Script:
    """Draw the shoulder blades down, then sink out of it over half a minute."""
    script = _stands(person, seed, 68.0)
    rng = script.rng
    _hangs(script)
    _pull(script, 15.0, rng.uniform(0.7, 1.1), rng.uniform(0.035, 0.055))
    script.both("blade", 24.0, rng.uniform(18, 28), 0.0, "sine")
    return _hard(script, 56.0, "quiet", "unassisted", "states not seen")


@scenario
def heavy_assistance(person: Person, seed: int) -> Script:
    """Hang with the feet taking 60 % of bodyweight."""
    script = _stands(person, seed, 52.0)
    _assisted(script, 0.60)
    return _hard(script, 40.0, "quiet")


@scenario
def one_foot_only(person: Person, seed: int) -> Script:
    """Hang with one foot taking some of the weight."""
    script = _stands(person, seed, 52.0)
    _assisted(script, script.rng.uniform(0.1, 0.25), sides=("right",))
    return _hard(script, 40.0, "quiet")


@scenario
def partner_pushes(person: Person, seed: int) -> Script:
    """Hang while a partner pushes the hips now and then."""
    script = _stands(person, seed, 60.0)
    rng = script.rng
    _hangs(script)
    weight = person.mass_kg * GRAVITY_m_s2
    for at in (17.0, 26.0, 35.0):
        script.bump("push_y", at, 0.45, rng.choice([-1, 1]) * rng.uniform(0.05, 0.12) * weight, 0.15)
        script.bump("push_x", at, 0.45, rng.uniform(-0.03, 0.03) * weight, 0.15)
    return _hard(script, 48.0, "unassisted", "swing not judged")


@scenario
def steps_on_a_corner(person: Person, seed: int) -> Script:
    """Hang, one bare foot treads on one corner of the platform for a moment, twice."""
    setting = replace(_setting(person, seed), platform_x_m=0.14, platform_y_m=0.12)
    script = _stands(person, seed, 56.0, setting)
    rng = script.rng
    _hangs(script)
    for at in (20.0, 30.0):
        _touches(script, at + rng.uniform(0, 2), rng.uniform(0.05, 0.15), rng.uniform(0.1, 0.5), "left", CLEAR_m)
    return _hard(script, 44.0, "unassisted")


@scenario
def regrips_from_the_feet(person: Person, seed: int) -> Script:
    """Hang, put the feet down for less than a second, hang on."""
    script = _stands(person, seed, 56.0)
    rng = script.rng
    _hangs(script)
    sag = _sag_m(person)
    for at in (22.0, 33.0):
        script.both("leg", at, 0.35, 0.0)
        script.both("leg", at + rng.uniform(0.6, 0.75), 0.35, sag + CLEAR_m)
    return _hard(script, 44.0, "unassisted", "touches not judged", "swing not judged")


def _plain(person: Person, seed: int, *tags: str) -> Script:
    script = stands_hangs(person, seed)
    script.tags |= {"hard", *tags}
    return script


@scenario
def mains_hum(person: Person, seed: int) -> Script:
    """Hang with 50 Hz in every cell."""
    return _plain(person, seed)


@scenario
def warming_up(person: Person, seed: int) -> Script:
    """Hang while the cells still warm up: zeros run away seven times as fast, creep is four times as large."""
    return _plain(person, seed)


@scenario
def saturated_cell(person: Person, seed: int) -> Script:
    """Stand and hang with one platform cell whose converter clips."""
    return _plain(person, seed, "one cell is wrong")


@scenario
def radio_gap(person: Person, seed: int) -> Script:
    """Hang; two seconds in the middle never arrive."""
    script = _plain(person, seed)
    script.tags.discard("quiet")  # what trembled in the gap, nobody saw
    return script


PLAYED_LIKE = dict.fromkeys(("mains_hum", "warming_up", "saturated_cell", "radio_gap"), "stands_hangs")
"""Scenarios that differ from another one by the rig's trouble alone: the same body moves in the same way."""


def trouble_of(name: str, seed: int) -> Trouble:
    """Return what is wrong with the electronics in a scenario."""
    del seed
    return TROUBLES.get(name, Trouble())


TROUBLES: dict[str, Trouble] = {
    "mains_hum": Trouble(hum_N=2.5),
    "warming_up": Trouble(faults=Faults(drift_kgf_per_min=0.14, creep=1e-3)),
    "saturated_cell": Trouble(saturated=(2, 0.06)),
    "radio_gap": Trouble(gap=(23.0, 2.0)),
}

SHARES: dict[str, int] = {
    "stands_hangs": 2,
    "drops_off": 2,
    "assisted_growing": 2,
    "pulls": 1,
    "swing_decays": 1,
    "third_support": 2,
    "changes_hands": 2,
    "jumps_up": 2,
    "never_hangs": 2,
    "hops_on_one_hand": 8,
    "pulls_while_swinging": 4,
    "kips": 8,
    "sinks_slowly": 8,
    "heavy_assistance": 8,
    "one_foot_only": 8,
    "partner_pushes": 8,
    "steps_on_a_corner": 4,
    "regrips_from_the_feet": 4,
    "mains_hum": 8,
    "warming_up": 8,
    "saturated_cell": 8,
    "radio_gap": 8,
}
"""Every how many bodies play a scenario."""
