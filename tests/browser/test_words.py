"""The languages of the pages: the same keys, functions of as many values, no word outside of them."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from playwright.sync_api import expect

from monitor.coaching.people.intake import questions
from monitor.dashboard.routes.pages import SCREENS, STATIC
from monitor.dashboard.views.screen_templates import NOT_FOUND
from monitor.errors import TellableError
from monitor.measures.flag_words import FLAG_WORDS

pytestmark = pytest.mark.browser

SHAPE = """async (language) => {
    const { words } = await import(`/static/words/${language}.js`);
    const shape = (part) => {
        if (typeof part === "function") return `function of ${part.length}`;
        if (Array.isArray(part)) return part.map(shape);
        const keys = () => Object.keys(part).sort();
        if (typeof part === "object") return Object.fromEntries(keys().map((key) => [key, shape(part[key])]));
        return typeof part;
    };
    return shape(words);
}"""

SAID = """async (language) => {
    const { words } = await import(`/static/words/${language}.js`);
    const said = [];
    const say = (part) => {
        if (typeof part === "function") for (const n of [0, 1, 2]) say(part(...Array(part.length).fill(n)));
        else if (typeof part === "object") Object.values(part).forEach(say);
        else said.push(String(part));
    };
    say(words);
    return said;
}"""


@pytest.fixture(scope="module")
def page(chromium, hall):
    context = chromium.new_context(locale="en-GB")
    page = context.new_page()
    page.goto(hall.url + "/holds")
    yield page
    context.close()


def languages(page) -> list[str]:
    return page.evaluate("import('/static/lib/words.js').then(({ languages }) => Object.keys(languages))")


def test_every_language_has_the_same_keys_and_functions(page):
    english = page.evaluate(SHAPE, "en")
    assert languages(page)[:2] == ["en", "de"]
    for language in languages(page):
        assert page.evaluate(SHAPE, language) == english, language


@pytest.mark.parametrize("name", ["en", "de", "errors-de"])
def test_no_group_of_words_stands_there_twice(name):
    # JavaScript would take the last one without a word.
    text = (STATIC / "words" / f"{name}.js").read_text("utf-8")
    groups = re.findall(r'^  "?([\w-]+)"?: ', text, re.MULTILINE)
    assert len(groups) == len(set(groups))


def test_nothing_is_said_with_a_hole_in_it(page):
    for language in languages(page):
        said = page.evaluate(SAID, language)
        assert len(said) > 300
        assert [words for words in said if re.search(r"undefined|NaN|\[object|null", words)] == []


def test_every_flag_and_question_has_german_words(page):
    flags, questions_de = page.evaluate(
        "import('/static/words/program-messages-de.js').then(({ messages }) => [messages.flags, messages.questions])"
    )
    assert set(FLAG_WORDS) <= set(flags)
    assert set(questions_de) == {question.key for question in questions()}


def test_german_errors_are_whole_and_of_codes_that_exist(page):
    import monitor.service  # noqa: F401  the program with all that it can tell

    errors = page.evaluate("import('/static/words/program-messages-de.js').then(({ messages }) => messages.errors)")
    assert all(set(error) == {"what", "means", "do"} and all(error.values()) for error in errors.values())
    here = {kind.code for kind in every_kind(TellableError) if kind.__module__.startswith("monitor.dashboard")}
    roots = {"dashboard", "refused"}
    assert here - roots <= set(errors)


def every_kind(kind: type[TellableError]) -> list[type[TellableError]]:
    return [kind, *(each for child in kind.__subclasses__() for each in every_kind(child))]


class Outside(HTMLParser):
    """Collects what a page says by itself, but for the product's name and what stands there without JavaScript."""

    def __init__(self) -> None:
        super().__init__()
        self.outcome: list[str] = []
        self.quiet = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.quiet += tag in {"noscript", "title"}  # the frame writes titles
        self.outcome += [
            f"{name}={value}" for name, value in attrs if name in {"aria-label", "title", "placeholder"} and value
        ]

    def handle_endtag(self, tag: str) -> None:
        self.quiet -= tag in {"noscript", "title"}

    def handle_data(self, data: str) -> None:
        if self.quiet == 0 and data.strip() not in {"", "Hang monitor"}:
            self.outcome.append(data.strip())


@pytest.mark.parametrize(
    "screen", dict.fromkeys([*SCREENS.values(), NOT_FOUND]), ids=lambda screen: f"{screen.part} {screen.kind}"
)
def test_no_word_stands_outside_of_the_words(screen):
    outside = Outside()
    outside.feed(screen.html())
    assert outside.outcome == []
    without = re.search(r"<noscript>(.*?)</noscript>", screen.html())
    assert without is not None
    assert 'lang="de"' in without[1]


def test_german_page_says_german_and_writes_a_decimal_comma(open_page, hall):
    page = open_page("about:blank")
    page.add_init_script("localStorage.setItem('language', 'de')")
    page.goto(f"{hall.url}/hold/{hall.holds[0].uid}")
    expect(page.locator("html")).to_have_attribute("lang", "de")
    duration = hall.holds[0].result.duration_s
    expect(page.locator("#time")).to_contain_text(f"{duration:.1f}".replace(".", ","))
    expect(page.locator("#numbers-title")).to_have_text("Zahlen")


def test_an_error_by_its_code_keeps_what_the_program_said_about_the_case(open_page, hall):
    page = open_page("about:blank", refusals=True)
    page.add_init_script("localStorage.setItem('language', 'de')")
    page.goto(f"{hall.url}/person/nobody-here")
    expect(page.locator("#notice-what")).to_have_text("Diese Person gibt es nicht.")
    expect(page.locator("#notice-do q")).to_contain_text("nobody-here")
    expect(page.locator("#notice-do q")).to_have_attribute("lang", "en")


def test_reasons_of_the_coaching_are_said_in_german(open_page, hall):
    page = open_page("about:blank")
    page.add_init_script("localStorage.setItem('language', 'de')")
    page.goto(f"{hall.url}/person/{hall.person}")
    expect(page.locator("body")).to_have_attribute("data-ready", "yes")
    wanted = hall.coach.coaching.prescribe(hall.person)
    said = " ".join(
        page.locator(place).inner_text() for place in ("#next", "#why", "#items", "#plan-name", "#plan-about")
    )
    english = {
        word for sentence in (wanted.reason, *(item.reason for item in wanted.items)) for word in sentence.split()
    }
    assert {"with", "the", "is", "item"} & english, "the program speaks English"
    assert not re.search(r"\b(the|with|without|is|are|were|help|hang|left|first)\b", said), said
    # 3.3 min of the program's sentence are 3,3 min here
    assert re.search(r"noch \d+,\d min", said)
