"""What a page looks like as rectangles: text that is cut or covered, targets too small, focus that is not seen."""

# ruff: noqa: E501 (the scripts are wrapped as JavaScript is)
from __future__ import annotations

from collections.abc import Iterator

from chromium import VIEWPORTS
from playwright.sync_api import Page

SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"

TWO_FRAMES = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
"""What hears of a new size draws in the frame that comes, or in the one after it."""

RESIZED = (
    "async (size) => { while (innerWidth !== size.width || innerHeight !== size.height)"
    f" await new Promise(requestAnimationFrame); await ({TWO_FRAMES})(); }}"
)
"""The browser hands a new size on to the page in its own time."""

VISIBLE = """
    const seen = (node) => {
        if (!node.checkVisibility({ opacityProperty: true, visibilityProperty: true })) return false;
        if (node.closest(".spoken, .skip, [aria-hidden='true'] canvas")) return false;
        const box = node.getBoundingClientRect();
        return box.width > 0 && box.height > 0;
    };
    const called = (node) => {
        const name = node.id ? `#${node.id}` : `${node.tagName.toLowerCase()}.${node.getAttribute("class") ?? ""}`;
        return `${name} "${(node.textContent ?? "").trim().slice(0, 30)}"`;
    };
"""

# A line's own room: capitals and x-height, without the leading above and below. Lines of one text may not be told apart.
TEXTS = (
    VISIBLE
    + """
    const lines = () => {
        const found = [];
        const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
        while (walk.nextNode()) {
            const node = walk.currentNode;
            const owner = node.parentElement;
            if (!node.textContent.trim() || !seen(owner) || owner.closest("select, noscript, option")) continue;
            const range = document.createRange();
            range.selectNodeContents(node);
            for (const box of range.getClientRects()) {
                if (box.width < 2 || box.height < 4) continue;
                const quarter = box.height / 4;
                found.push({ owner, left: box.left, right: box.right, top: box.top + quarter, bottom: box.bottom - quarter });
            }
        }
        return found;
    };
"""
)

COVERED = (
    "() => {"
    + TEXTS
    + """
    const layer = (node) => node.closest(".set-form, dialog, [popover]");
    const all = lines().sort((a, b) => a.top - b.top);
    const found = [];
    for (let i = 0; i < all.length; i++)
        for (let j = i + 1; j < all.length && all[j].top < all[i].bottom; j++) {
            const [a, b] = [all[i], all[j]];
            if (a.owner === b.owner || layer(a.owner) !== layer(b.owner)) continue;
            const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
            const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
            if (wide > 1.5 && high > 1.5) found.push(`${called(a.owner)} and ${called(b.owner)}`);
        }
    return [...new Set(found)];
}"""
)

CUT = (
    "() => {"
    + TEXTS
    + """
    const scrolls = (style) => /auto|scroll/.test(style.overflowX + style.overflowY);
    const found = [];
    for (const line of lines()) {
        for (let node = line.owner; node !== null && node !== document.body; node = node.parentElement) {
            const style = getComputedStyle(node);
            if (scrolls(style)) break;
            if (!/hidden|clip/.test(style.overflowX + style.overflowY)) continue;
            const box = node.getBoundingClientRect();
            const out = Math.max(box.left - line.left, line.right - box.right, box.top - line.top, line.bottom - box.bottom);
            if (out > 1.5) found.push(`${called(line.owner)} by ${called(node)}, ${out.toFixed(0)} px`);
        }
        const framed = line.owner.closest(".wide") !== null;
        if (!framed && (line.left < -1 || line.right > innerWidth + 1)) found.push(`${called(line.owner)} by the screen's edge`);
    }
    return [...new Set(found)];
}"""
)

# A word in a sentence is as high as its line; everything else that is pressed has room for a fingertip.
SMALL = (
    "() => {"
    + VISIBLE
    + """
    const found = [];
    for (const node of document.querySelectorAll("a[href], button, input, select, summary, textarea, [role='slider']")) {
        if (!seen(node)) continue;
        const sentence = node.tagName === "A" && [...node.parentElement.childNodes].some((one) => one.nodeType === 3 && one.textContent.trim().length > 2);
        if (sentence) continue;
        const boxes = [node, ...(node.labels ?? [])].map((one) => one.getBoundingClientRect());
        const high = Math.max(...boxes.map((box) => box.height));
        const wide = Math.max(...boxes.map((box) => box.width));
        if (high < 43.5 || wide < 43.5) found.push(`${called(node)}: ${wide.toFixed(0)} x ${high.toFixed(0)} px`);
    }
    return found;
}"""
)

REACHABLE = (
    "() => {"
    + VISIBLE
    + """
    // Of a group of radio buttons one is a stop: the chosen one, else the first; arrow keys go through the others.
    const stop = (node) => {
        if (node.type !== "radio") return true;
        const group = [...(node.form ?? document).querySelectorAll("input[type=radio]")].filter((one) => one.name === node.name && one.form === node.form);
        return node === (group.find((one) => one.checked) ?? group[0]);
    };
    window.reachable = [...document.querySelectorAll("a[href], button, input, select, summary, textarea, [tabindex='0']")]
        .filter((node) => seen(node) && !node.disabled && node.tabIndex >= 0 && stop(node));
    window.reached = new Set();
    window.unseenFocus = new Set();
    document.activeElement?.blur();
    addEventListener("focusin", ({ target: node }) => {
        window.reached.add(node);
        if (!node.matches(":focus")) return; // a part of the browser's own, as the calendar of a date: its ring is the browser's
        const style = getComputedStyle(node);
        const around = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 1;
        if (!around) window.unseenFocus.add(called(node));
    });
    return window.reachable.length;
}"""
)

ALL_REACHED = "window.reachable.every((node) => window.reached.has(node))"

UNREACHED = (
    "() => {"
    + VISIBLE
    + "return { unreached: window.reachable.filter((node) => !window.reached.has(node)).map(called),"
    + " unseen: [...window.unseenFocus] }; }"
)


def sideways(page: Page) -> int:
    """Return by how many pixels the page scrolls sideways."""
    return int(page.evaluate(SIDEWAYS))


def resize(page: Page, width: int, height: int) -> None:
    """Give the page's window a size, and wait until it is drawn so."""
    size = {"width": width, "height": height}
    page.set_viewport_size(size)  # type: ignore[arg-type]
    page.evaluate(RESIZED, size)


def at_every_size(page: Page) -> Iterator[None]:
    """Bring the page to each size by day and by night, drawn anew; it never scrolls sideways."""
    for viewport in ("phone", "tablet", "wall"):
        resize(page, **VIEWPORTS[viewport])
        for light in ("light", "dark"):
            page.emulate_media(color_scheme=light)
            page.evaluate(TWO_FRAMES)
            assert sideways(page) <= 0, f"{viewport}, {light}"
            yield


def covered(page: Page) -> list[str]:
    """Return pairs of texts that lie over each other."""
    return list(page.evaluate(COVERED))


def cut(page: Page) -> list[str]:
    """Return texts that stand out of the place that shows them."""
    return list(page.evaluate(CUT))


def small_targets(page: Page) -> list[str]:
    """Return what is to be pressed and is smaller than 44 CSS pixels (the size of WCAG 2.2, 2.5.5)."""
    return list(page.evaluate(SMALL))


def procedure_by_keys(page: Page) -> dict[str, list[str]]:
    """Press Tab until all was reached or every step was made; return what was not reached, and focus that is not seen."""
    count = int(page.evaluate(REACHABLE))
    for step in range(1, 2 * count + 12):  # a date has a stop for each of its parts
        page.keyboard.press("Tab")
        if (step >= count or step % 8 == 0) and page.evaluate(ALL_REACHED):
            break
    result: dict[str, list[str]] = page.evaluate(UNREACHED)
    return result
