"""``python -m tests.pictures [FOLDER]``: the pictures of the documents, taken of the running demo in a real browser.

Everything on them is invented: the demo's people hang on its virtual rig, the demo hall fills lists and charts.
"""

from __future__ import annotations

import io
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

ROOT = Path(__file__).parents[1]
SEED = 1
HALL_SEED = 7
PATIENCE_MS = 120_000
COLOURS = 64
"""A picture's palette: the pages have few colours, and small files are read sooner."""

SIZES = {
    "phone": {"width": 390, "height": 844},
    "tablet": {"width": 1024, "height": 768},
    "wall": {"width": 1440, "height": 810},
}


@contextmanager
def demo(data: Path) -> Iterator[str]:
    """Fill a data folder with the demo hall and run the demo over it; yield the page's address."""
    program = [sys.executable, "-m", "monitor.cli"]
    loading = [*program, "demo-hall", "load", "--data", str(data), "--seed", str(HALL_SEED)]
    subprocess.run(loading, check=True, stdout=subprocess.DEVNULL)
    command = [*program, "demo", "--data", str(data), "--page-port", "0", "--seed", str(SEED)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if match := re.match(r"Live page: (\S+)", line):
                yield match.group(1).rstrip("/")
                return
        raise RuntimeError("The demo did not start.")
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)


def keep(page: Page, path: Path) -> None:
    """Write what a page shows as a small PNG."""
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    sys.stdout.write(f"{path}\n")


def _drawn(page: Page) -> None:
    page.wait_for_load_state("networkidle")


def _ready(page: Page) -> None:
    expect(page.locator("body")).to_have_attribute("data-ready", "yes", timeout=PATIENCE_MS)
    _drawn(page)


def _measuring(page: Page) -> None:
    """Wait until nobody is on the rig: then the page shows what is normal."""
    expect(page.locator("#state")).to_have_text("measuring", timeout=PATIENCE_MS)
    expect(page.locator("#facts")).to_contain_text("only while somebody is there", timeout=PATIENCE_MS)


def _hanging(page: Page) -> None:
    """Wait until somebody hangs for six seconds and more."""
    expect(page.locator("#scene")).to_have_text("hanging", timeout=PATIENCE_MS)
    expect(page.locator("#time-digits")).to_have_text(re.compile(r"^([6-9]|\d\d)$"), timeout=PATIENCE_MS)


def _coached(page: Page) -> None:
    _drawn(page)
    expect(page.locator("body")).to_have_attribute("data-scene", "hanging", timeout=PATIENCE_MS)


def addresses(browser: Browser, url: str) -> dict[str, str]:
    """Return the pages of one of the hall's people and of a recorded hold of theirs."""
    page = browser.new_page()
    people = page.request.get(f"{url}/api/people").json()
    people = people["people"] if isinstance(people, dict) else people
    holds = page.request.get(f"{url}/api/holds?limit=50&order=newest").json()["holds"]
    recorded = next(one for one in holds if page.request.get(f"{url}/api/holds/{one['uid']}/curve?points=10").ok)
    page.close()
    person = recorded["person_uid"] or people[0]["uid"]
    return {"person": f"/person/{person}", "hold": f"/hold/{recorded['uid']}"}


def take(url: str, folder: Path, names: list[str]) -> None:
    """Take the pictures of these names, all of them when none is given."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=shutil.which("chromium") or shutil.which("chromium-headless-shell"),
            args=["--headless", "--no-sandbox", "--disable-gpu"],
        )
        places = addresses(browser, url)
        views: dict[str, tuple[str, str, str, Callable[[Page], None]]] = {
            "live-page": ("/", "wall", "light", _hanging),
            "live-page-night": ("/", "tablet", "dark", _hanging),
            "coach-page": ("/coach", "tablet", "light", _coached),
            "hold-page": (places["hold"], "tablet", "light", _drawn),
            "hold-page-phone": (places["hold"], "phone", "light", _drawn),
            "person-page": (places["person"], "tablet", "light", _ready),
            "holds-page": ("/holds", "tablet", "light", _drawn),
            "rig-page": ("/rig", "tablet", "light", _measuring),
            "first-steps-page": ("/first-steps", "tablet", "light", _drawn),
        }
        for name, (address, size, light, ready) in views.items():
            if names and name not in names:
                continue
            context = browser.new_context(viewport=SIZES[size], color_scheme=light, locale="en-GB")  # type: ignore[arg-type]
            page = context.new_page()
            page.goto(url + address)
            ready(page)
            keep(page, folder / f"{name}.png")
            context.close()
        browser.close()


def main() -> int:
    """Take all pictures, or those that are named after ``--only``, into a folder."""
    given = sys.argv[1:]
    names = given[given.index("--only") + 1 :] if "--only" in given else []
    places = given[: given.index("--only")] if "--only" in given else given
    folder = Path(places[0]) if places else ROOT / "docs" / "images"
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as data, demo(Path(data)) as url:
        take(url, folder, names)
    return 0


if __name__ == "__main__":
    sys.exit(main())
