"""The contexts that tests share: whoever gets one finds nothing of the test before."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

LEFT = "[Object.keys(localStorage).sort(), Object.keys(sessionStorage), document.cookie]"


def test_a_context_is_used_again_and_nothing_is_left_in_it(open_page, rooms, hall):
    first = open_page(hall.url + "/holds")
    first.evaluate("localStorage.setItem('draft', 'x'); sessionStorage.setItem('s', 'x'); document.cookie = 'c=x'")
    assert first.evaluate(LEFT) == [["draft", "unit"], ["s"], "c=x"]
    rooms.sweep({hall.url})
    second = open_page(hall.url + "/holds")
    assert second.context is first.context
    assert second.evaluate(LEFT) == [["unit"], [], ""]


def test_two_pages_of_one_test_share_nothing(open_page, hall):
    first, second = open_page(hall.url + "/holds"), open_page(hall.url + "/holds")
    first.evaluate("localStorage.setItem('draft', 'x')")
    assert second.evaluate(LEFT) == [["unit"], [], ""]
