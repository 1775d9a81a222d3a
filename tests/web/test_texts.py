"""Every text of every page can be translated, and marking them changes nothing in English."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from jinja2 import Environment, PackageLoader, StrictUndefined
from scripts.texts import catalogue

from cakewright.documents import words
from cakewright.web import look, speech
from cakewright.web.marking import READ_ALOUD, SILENT, is_call, is_worded, marked, tokens
from cakewright.web.speech import Speech, pseudo
from tests.web.test_pages import ALL

TEMPLATES = sorted((Path(look.__file__).parent / "templates").glob("*.html"))
WORDS = re.compile(r"[^\W\d_]{2}")


def unmarked(source):
    """Visible words of a template that no catalogue would hold: text, attributes read aloud, texts given to macros."""
    found, silent = [], ""
    for kind, text in tokens(marked(source)):
        if silent:
            silent = "" if kind == "tag" and text.lower().startswith(f"</{silent}") else silent
        elif kind == "text" and WORDS.search(text):
            found.append(text.strip())
        elif kind == "value" and is_call(text) and "{" not in text[2:]:
            bare = re.sub(r'n?gettext\("(?:[^"\\]|\\.)*"', "", text)
            found += [a or b for a, b in re.findall(r'"([^"]*)"|\'([^\']*)\'', bare) if is_worded(a or b)]
        elif kind == "tag":
            name = re.match(r"<(\w[\w-]*)", text)
            silent = name[1].lower() if name and name[1].lower() in SILENT else ""
            bare = re.sub(r'\{\{ gettext\(".*?\)\|quotable \}\}', "", text, flags=re.S)
            for attribute, value in re.findall(r'([\w-]+)="([^"]*)"', bare):
                if attribute in READ_ALOUD and any(k == "text" and WORDS.search(t) for k, t in tokens(value)):
                    found.append(value)
    return found


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_no_visible_text_is_out_of_the_catalogue(path):
    """Whatever a template shows or says is a message; single-quoted tables of words name their texts themselves."""
    left = [text for text in unmarked(path.read_text(encoding="utf-8")) if " " in text or text[:1].isupper()]
    assert left == []


def test_the_check_itself_notices():
    """A text that the marking cannot see is found: here one that a macro is given in single quotes."""
    assert unmarked("{{ field('x', 'Through the cloth') }}") == ["Through the cloth"]
    assert unmarked("<p>Plain words</p>") == []


@pytest.mark.parametrize(
    ("source", "becomes"),
    [
        ("<p>Cut here</p>", '<p>{{ gettext("Cut here") }}</p>'),
        ("<p>{{ n }} of {{ m.x }} kg</p>", '<p>{{ gettext("%(n)s of %(x)s kg", n=(n), x=(m.x)) }}</p>'),
        ("<p>5 % <b>more</b> now</p>", '<p>{{ gettext("5 %% <b>more</b> now") }}</p>'),
        ("<p>a <b>broken</p>", '<p>a <b>{{ gettext("broken") }}</p>'),
        ('<a title="Go to {{ x }}{% if y %}, now{% endif %}">{{ x }}</a>',
         '<a title="{{ gettext("Go to %(x)s", x=(x))|quotable }}{% if y %}{{ gettext(", now")|quotable }}{% endif %}">'
         "{{ x }}</a>"),
        ('{{ count(xs|length, "entry", "entries") }}', '{{ ngettext("%(num)d entry", "%(num)d entries", xs|length) }}'),
        ('{{ "late" if x else "on time" }}', '{{ gettext("late") if x else gettext("on time") }}'),
        ('{{ field("kg", "Through the cloth", v) }}', '{{ field("kg", gettext("Through the cloth"), v) }}'),
        ('{{ field("h", "Humidity, %", v) }}', '{{ field("h", gettext("Humidity, %%"), v) }}'),
        ("<svg><title>No text</title></svg>", "<svg><title>No text</title></svg>"),
        ("<p>{{ m.mark('sun') }} Now</p>", "<p>{{ m.mark('sun') }} {{ gettext(\"Now\") }}</p>"),
        ('{% if a > b %}<p class="{% if a > b %}x{% endif %}">–</p>{% endif %}',
         '{% if a > b %}<p class="{% if a > b %}x{% endif %}">–</p>{% endif %}'),
    ],
)  # fmt: skip
def test_how_texts_are_marked(source, becomes):
    """Runs of words with their values and emphasis are one message; statements, macros and other tags end it."""
    assert marked(source) == becomes


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_cutting_a_template_loses_nothing(path):
    """The pieces joined are the template."""
    source = path.read_text(encoding="utf-8")
    assert "".join(text for _, text in tokens(source)) == source


def plain_environment():
    env = Environment(loader=PackageLoader("cakewright.web"), autoescape=True, undefined=StrictUndefined,
                      trim_blocks=True, lstrip_blocks=True, extensions=["jinja2.ext.i18n"])  # fmt: skip
    env.install_gettext_callables(lambda t: t, lambda one, many, n: one if n == 1 else many, newstyle=True)
    env.filters |= look.ENVIRONMENT.filters
    env.globals |= {k: v for k, v in look.ENVIRONMENT.globals.items() if "gettext" not in k and k != "_"}
    env.globals["count"] = words.count
    return env


def squeezed(text):
    text = re.sub(r'(name="draft" value=")[^"]*', r"\1", text)
    text = re.sub(r'(name="uid" value=")[^"]*', r"\1", text)
    return re.sub(r"\s+", " ", text).replace("&#39;", "'").replace("&#34;", '"').replace("&quot;", '"')


def test_marking_changes_nothing_in_english(client, monkeypatch):
    """Every page reads the same with and without the marking of its texts."""
    with_marks = {address: squeezed(client.get(address).text) for address in ALL}
    monkeypatch.setattr(look, "ENVIRONMENT", plain_environment())
    assert {a: squeezed(client.get(a).text) for a in ALL} == with_marks


class Shown(HTMLParser):
    """Visible texts of a page."""

    def __init__(self):
        super().__init__()
        self.texts, self.silent = [], 0

    def handle_starttag(self, tag, attrs):
        self.silent += tag in SILENT
        self.texts += [value for name, value in attrs if name in READ_ALOUD and value]

    def handle_endtag(self, tag):
        self.silent -= tag in SILENT

    def handle_data(self, data):
        if not self.silent and data.strip():
            self.texts.append(" ".join(data.split()))


def test_every_page_speaks_the_marked_language(client):
    """Asked for marked English, no page shows a text of the catalogue unmarked, and each shows marked ones."""
    pages = [m for m in catalogue() if isinstance(m.id, str) and any(p.startswith("templates") for p, _ in m.locations)]
    fixed = {m.id for m in pages if " " in m.id and "%" not in m.id and "<" not in m.id}
    assert len(fixed) > 500
    for address in ALL:
        answer = client.get(address, headers={"accept-language": "en-XA"})
        assert '<html lang="en-XA"' in answer.text, address
        seen = Shown()
        seen.feed(answer.text)
        assert [text for text in seen.texts if text in fixed] == [], address
        assert sum(text.startswith("[") for text in seen.texts) > 8, address


def test_the_catalogue_holds_pages_scripts_menu_and_vocabulary():
    """Templates, scripts, places, and words such as kinds of task are extracted by Babel."""
    found = {m.id if isinstance(m.id, str) else m.id[0] for m in catalogue() if m.id}
    assert {"Move by hand", "Checking on the exact meshes…", "Morning", "unpack and sieve", "%(num)d task"} <= found
    assert len(found) > 900


def test_a_translation_beside_the_program_is_spoken(client, tmp_path, monkeypatch):
    """A catalogue for German: the browser that asks for it gets it, others get English; a choice is kept."""
    (tmp_path / "de.po").write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\nmsgid "Calendar"\nmsgstr "Kalender"\n\n'
        'msgid "Nothing is moved."\nmsgstr "Nichts \\"verschoben\\"."\n', encoding="utf-8")  # fmt: skip
    monkeypatch.setattr(speech, "HERE", tmp_path)
    speech.catalogue.cache_clear()
    try:
        for header, said in [("de-AT,de;q=0.9,en;q=0.5", "<h1>Kalender"), ("fr,en;q=0.5", "<h1>Calendar"),
                             ("", "<h1>Calendar"), ("%%;q=x,,-", "<h1>Calendar"),
                             ("en,de", "<h1>Calendar")]:  # fmt: skip
            assert said in client.get("/plans/2/calendar", headers={"accept-language": header}).text, header
        assert 'Nichts \\"verschoben\\".' in client.get("/words/de.js").text
        chosen = client.post("/display", data={"language": "de", "lengths": "both", "to": "/plans/2/calendar"})
        assert "<h1>Kalender" in chosen.text
        assert 'data-lengths="both"' in chosen.text
        assert client.post("/display", data={"language": "xx"}).status_code == 422
        assert client.get("/words/xx.js").status_code == 404
    finally:
        client.cookies.clear()
        speech.catalogue.cache_clear()


def test_lengths_as_somebody_reads_them(client):
    """Millimetres, inches or both on the pages; the interface stays metric."""
    assert [Speech("en", way).length(25.4) for way in ("mm", "inch", "both")] == [
        "25.4 mm",
        "1.000 in",
        "25.4 mm (1.000 in)",
    ]
    client.cookies.set("lengths", "inch")
    try:
        page = client.get("/plans/2/builds/B1").text
        assert re.search(r"height</dt><dd>\d+\.\d{3} in", page)
        metric = client.get("/api/v1/plans/2/builds/B1").json()
    finally:
        client.cookies.clear()
    assert metric == client.get("/api/v1/plans/2/builds/B1").json()


def test_marked_english_leaves_values_and_tags_alone():
    """Placeholders of both kinds, tags and entities stay as they are."""
    assert pseudo("%(n)s of <b>ten</b> {left}, 5 %% &amp; so") == "[%(n)s öf <b>téñ</b> {left}, 5 %% &amp; šö]"


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_no_template_writes_its_own_millimetres(path):
    """Lengths go through the filters `mm` and `size`, or they would stay metric for a reader of inches."""
    source = path.read_text(encoding="utf-8")
    assert re.findall(r"\}\} ?mm\b|mm\"\|format|f mm\b", source) == []


SCRIPTS = sorted((Path(look.__file__).parent / "static").glob("*.js"))


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_no_script_shows_a_text_that_it_does_not_say(path):
    """Words of two and more in a script go through `say`; selectors, addresses and comments are no texts."""
    source = re.sub(r"(^|\s)//[^\n]*|/\*.*?\*/", " ", path.read_text(encoding="utf-8"), flags=re.S)
    source = re.sub(r'\bsay\(\s*"(?:[^"\\]|\\.)*"', "", source)
    literal = re.findall(r'"([^"\n]*)"', source)
    shown = [text for text in literal if re.match(r"[^\w]{0,3}[A-Za-z][a-z]+,? [a-z]+[ .,:]", text)]
    assert [t for t in shown if t != "use strict" and not re.search(r"[\[\]#>=]|\.[a-z]", t)] == []
