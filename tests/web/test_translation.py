"""The German of pages and of the program's sentences: complete, with its values; it changes nothing that is sent."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from babel.messages.pofile import read_po
from scripts.texts import catalogue

from cakewright.web import speech
from cakewright.web.message_ids import sentences_in
from cakewright.web.sentence_book import sentences
from cakewright.web.speech import Speech, languages
from tests.web.test_pages import ALL

HELD = re.compile(r"%\(\w+\)[sd]|%%|\{\w+\}|</?\w+>|&\w+;")
GERMAN = Speech("de")


def read(path):
    with path.open("rb") as file:
        return read_po(file)


def pairs(message):
    """English and translation, singular and plural."""
    one = isinstance(message.id, str)
    return list(zip([message.id] if one else message.id, [message.string] if one else message.string, strict=True))


def test_every_text_of_every_page_is_there():
    """Nothing of the catalogue is without German."""
    known = read(speech.HERE / "de.po")
    missing = [
        m.id for m in catalogue() if m.id and not (known.get(m.id) and all(s for _, s in pairs(known.get(m.id))))
    ]
    assert missing == []


@pytest.mark.parametrize("path", sorted(speech.HERE.rglob("*.po")), ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_values_and_emphasis_agree(path):
    """Each translation shows the same values, tags and signs as its English."""
    found = [pair for message in read(path) if message.id for pair in pairs(message)]
    assert len(found) > 200
    assert [(a, b) for a, b in found if sorted(HELD.findall(a)) != sorted(HELD.findall(b))] == []


def test_sentences_that_are_translated_are_sentences_of_the_program():
    """A sentence that was changed leaves its translation behind: few may be so."""
    known = {one.text for one in sentences()}
    said = [m.id for m in read(Path(speech.HERE) / "sentences" / "de.po") if m.id]
    old = [text for text in said if text not in known]
    assert len(old) <= 0.05 * len(said), old


def test_how_a_module_is_read():
    """Literals and f-strings of two words and more; docstrings are none, equal names are told apart."""
    source = (
        'def f(a, b):\n    """Not this one."""\n    return f"{a.key} lies under {b.key} today", "two words", "one"\n'
    )
    assert sorted(sentences_in(source)) == ["two words", "{key} lies under {key_2} today"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a wall of 0.77 mm over 35 mm²; limit 0.8 mm", "eine Wand von 0.77 mm auf 35 mm²; Grenze 0.8 mm"),
        ("waits for machine: B1 until Wed 3 Mar 06:30", "wartet auf Maschine: B1 bis Mi. 3 März 06:30"),
        ("B4 also holds line 29, received Wed 3 Mar; could be loaded, nobody in before Wed 06:30",
         "B4 enthält auch Position 29, eingegangen Mi. 3 März; könnte gerüstet werden, vor Mi. 06:30 ist niemand da"),
        ("Tue 2 Mar 07:10", "Di. 2 März 07:10"),
        ("plan on the bench, please", "plan on the bench, please"),
        ("knob 28 mm", "knob 28 mm"),
        ("Red Kiln", "Red Kiln"),
    ],
)  # fmt: skip
def test_sentences_of_the_program_in_german(text, said):
    """Recognised with their values, clause by clause; what people wrote stays as it is."""
    assert GERMAN.sentence(text) == said


def test_lengths_in_sentences_are_inches_for_who_reads_inches():
    """Only lengths of the program's own sentences: areas and part names stay."""
    inch, both = Speech("en", "inch"), Speech("en", "both")
    assert inch.sentence("a wall of 0.77 mm over 35 mm²; limit 0.8 mm") == (
        "a wall of 0.0303 in over 35 mm²; limit 0.031 in"
    )
    assert both.sentence("0.77 mm, at least 0.8 mm") == "0.77 mm (0.0303 in), at least 0.8 mm (0.031 in)"
    assert inch.sentence("knob 28 mm") == "knob 28 mm"
    assert Speech().sentence("a wall of 0.77 mm over 35 mm²; limit 0.8 mm").startswith("a wall of 0.77 mm")


class Sent(HTMLParser):
    """What a page's forms and links would send, in order."""

    def __init__(self):
        super().__init__()
        self.sent, self.option = [], None

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.sent += [(tag, n, given[n]) for n in ("name", "value", "href", "action", "src") if given.get(n)]
        self.option = tag == "option" and "value" not in given

    def handle_data(self, data):
        if self.option and data.strip():
            self.sent.append(("option", "text", data.strip()))
            self.option = False


def sent(client, address, language):
    page = Sent()
    page.feed(client.get(address, headers={"accept-language": language}).text)
    made = re.compile(r"^[\w-]{16,}$")  # a word made anew for each page
    return [one for one in page.sent if not made.match(one[2]) and "/words/" not in one[2]]


@pytest.mark.parametrize("address", ALL)
def test_a_language_changes_nothing_that_is_sent(client, address):
    """Addresses, names and values of every form are the same in English, in German and in marked English."""
    english = sent(client, address, "en")
    assert sent(client, address, "de") == english
    assert sent(client, address, "en-XA") == english


def test_the_morning_in_german(client):
    """The first page at 06:40: headings, tasks, days and reasons."""
    text = client.get("/", headers={"accept-language": "de-CH,de;q=0.9"}).text
    assert '<html lang="de"' in text
    for said in ("Di. 2 März, 06:40", "Wer was als Nächstes tut", "auspacken und sieben", "darf geöffnet werden"):
        assert said in text, said
    assert "de" in languages()


def test_nothing_is_translated_that_nobody_says():
    """What has gone from pages and program goes from the catalogues too."""
    said = {"de.po": {str(m.id) for m in catalogue()}, "sentences/de.po": {one.text for one in sentences()}}
    for name, texts in said.items():
        assert [m.id for m in read(speech.HERE / name) if m.id and str(m.id) not in texts] == [], name
