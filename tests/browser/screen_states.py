"""Every screen of the program, and the states that a screen can be in, for tests that look at all of them."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import SimpleNamespace

from fake_rig import HANGS_S, LEAVES_S, LETS_GO_S, playing, scene_at
from playwright.sync_api import Page, expect

from monitor.dashboard.routes.pages import SCREENS
from monitor.measures.picture import Picture

Prepare = Callable[[Page, SimpleNamespace], None]

COUNT_REQUESTS = """(() => {
    window.requestsUnderway = 0;
    const plain = window.fetch;
    const done = () => setTimeout(() => window.requestsUnderway--);
    window.fetch = async (...given) => {
        window.requestsUnderway++;
        try {
            const answer = await plain(...given);
            answer.clone().arrayBuffer().then(done, done);
            return answer;
        } catch (error) {
            done();
            throw error;
        }
    };
})()"""
"""An init script: how many answers a page is waiting for, each to its last byte."""

SETTLED = """() => new Promise((done) => {
    let calm = 0;
    const look = () => {
        calm = window.requestsUnderway === 0 ? calm + 1 : 0;
        if (calm > 3) done();
        else requestAnimationFrame(look);
    };
    document.fonts.ready.then(() => look());
})"""


def settle(page: Page) -> None:
    """Wait until a page has its answers and has drawn them."""
    page.wait_for_load_state("load")
    page.evaluate(SETTLED)


@dataclass(frozen=True)
class State:
    """A screen in one of its states.

    ``picture``: what the rig sees meanwhile, again and again; None: nothing. ``refusals``: the program says no.
    """

    name: str
    address: str
    prepare: Prepare = lambda page, hall: None
    picture: Picture | None = None
    refusals: bool = False


@contextlib.contextmanager
def shown(open_page: Callable[..., Page], hall: SimpleNamespace, state: State, **options: object) -> Iterator[Page]:
    """Open a screen, bring it into a state, and keep it there until the block ends."""
    page = open_page("about:blank", refusals=state.refusals, **options)
    if state.picture is None:  # what the state before has shown is not this one's: who stands there bars some buttons
        hall.hub.publish(scene_at(LEAVES_S + 1))
    page.add_init_script(COUNT_REQUESTS)
    page.goto(hall.url + address_of(state.address, hall))
    settle(page)
    if state.picture is None:
        state.prepare(page, hall)
        settle(page)
        yield page
        return
    publish(page, hall, state.picture)
    with playing(hall.hub, Standstill(state.picture)):  # type: ignore[arg-type]
        state.prepare(page, hall)
        settle(page)
        yield page


class Standstill:
    """A rig that sees the same again and again, often enough for the screen not to be old."""

    step_s = 0.25

    def __init__(self, picture: Picture) -> None:
        self.picture = picture

    def next(self) -> Picture:
        return self.picture


def publish(page: Page, hall: SimpleNamespace, picture: Picture) -> None:
    """Show a picture and wait until the page has drawn it."""
    hall.hub.publish(picture)
    expect(page.locator("body")).to_have_attribute("data-picture", str(hall.hub.newest()[0]))


def _old(page: Page, hall: SimpleNamespace) -> None:
    publish(page, hall, scene_at(HANGS_S + 7.4))
    expect(page.locator("body")).to_contain_class("old")


def _all_open(page: Page, hall: SimpleNamespace) -> None:
    """Open whatever opens: forms and lists that are folded away.

    Sounds and settings close one another: the last that is opened is seen at the bar, the first on the coach's page.
    """
    summaries = page.locator("summary:visible").all()
    for summary in reversed(summaries) if page.url.endswith("/coach") else summaries:
        if summary.is_visible() and not summary.evaluate("(node) => node.parentElement.open"):
            summary.click()


def _discarding(page: Page, hall: SimpleNamespace) -> None:
    page.locator("#rows input").first.check()
    page.locator("#discard").click()


def _laid_under(page: Page, hall: SimpleNamespace) -> None:
    page.locator("#earlier").select_option(index=2)
    expect(page.locator(".nb-curve.earlier")).not_to_have_count(0)
    page.locator("#paper").press("Home")


def address_of(screen: str, hall: SimpleNamespace) -> str:
    """Return a screen's address with somebody or something in the place of ``{uid}``."""
    uid = hall.holds[0].uid if screen.startswith("/hold/") else hall.person
    return screen.replace("{uid}", uid)


def _hanging(alpha: float, **changes: object) -> Picture:
    observed = dataclasses.replace(scene_at(HANGS_S + 7.4), alpha=alpha, beta=1 - alpha)
    return dataclasses.replace(observed, **changes)  # type: ignore[arg-type]


OTHERS_WEIGHT = {"surplus": 0.5, "beta": None, "u_beta": None, "alpha": None, "u_alpha": None}

_NOT_READY = dataclasses.replace(scene_at(1.0), scene="not_ready", warnings=("bar left gives no reading.",))
# The made-up service has no sign-in: its page asks for one, is refused, and says so.
AS_IT_OPENS = [State(f"{screen} as it opens", screen, refusals=screen == "/sign-in") for screen in SCREENS]
AT_THE_BAR = [
    State("nobody", "/", picture=scene_at(LEAVES_S + 1)),
    State("standing", "/", picture=scene_at(2.0)),
    State("hanging", "/", picture=_hanging(0.05)),
    State("too much help", "/", picture=_hanging(0.24)),
    State("account open", "/", picture=_hanging(0.05, misclosure=-0.09, misclosure_open=True)),
    State("a coach on the platform", "/", picture=dataclasses.replace(_hanging(0.05), **OTHERS_WEIGHT)),
    State("let go", "/", picture=scene_at(LETS_GO_S + 1)),
    State("rig not ready", "/", picture=_NOT_READY),
    State("screen is old", "/", _old),
]
FOLDED_OUT = [State(f"{screen} folded out", screen, _all_open, refusals=screen == "/sign-in") for screen in SCREENS]
OTHERS = [
    State("discarding", "/holds", _discarding),
    State("earlier hold laid under", "/hold/{uid}", _laid_under),
    State("no such hold", "/hold/none", refusals=True),
    State("no such person", "/person/none", refusals=True),
]
EVERY_STATE = [*AT_THE_BAR, *FOLDED_OUT, *OTHERS]
"""A screen folded out shows what it opens with, too; as it opens it is looked at in German and in large text."""
