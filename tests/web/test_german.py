"""German is whole: every sentence of the program is translated, and no English is left on the pages of a week."""

import re
from functools import cache
from html.parser import HTMLParser

import pytest
from babel.messages.pofile import read_po

from cakewright.web import speech
from cakewright.web.message_ids import read_sources, template_sentences
from cakewright.web.sentence_book import likely, sentences
from cakewright.web.speech import Speech
from tests.web.test_pages import ALL

MORE = [f"/plans/2{below}" for below in ("/again", "/what-if", "/happened", "/builds/B1/stopped", "/builds/B1/powder")]
POWDER = ["/powder", "/powder/book", "/powder/outlook", "/powder/lots", "/powder/change", "/powder/month", "/promises"]
SPARED = {"/api/docs"}  # the interface for programs is described in English
ENGLISH = re.compile(
    r"\b(?:the|of|is|are|and|not|with|for|from|this|that|to|by|no|has|have|be|it|than|which|until|before|after|only|"
    r"nobody|nothing|every|may|must|or|waits|ends|needs|makes|holds|there|when|what|who|each|again)\b"
)
INVENTED = re.compile(  # reasons that the invented week of these tests writes by hand, and its station
    r"waits for chamber K1 to cool|class standard in line 1 asks for 40 %|cake of B1 is cool only on Tuesday 08:00|"
    r"(?:the|no) mesh file '?cover.stl'?(?: is missing)?|fills one chamber with everything due by Thursday|"
    r"ask the customer for it|sizes fit the order list|put it into the folder|no room below the lid|30 h soft|move it|"
    r"bench|blasted, dyed black"
)
WORDS = re.compile(r"[A-Za-z][a-z]{2,}(?: [A-Za-z][a-z]+)*")  # one or more words and nothing else
SAME = re.compile(  # names of the invented week, and words that are the same in German
    r"Code|Deutsch|English|Material|Name|Plan|cakewright|standard|unit mm|"
    r"Dev|Mira|Test cell|air|ball|cabinet|chain|clips|knobs?|lost|pot|toy|raw|blasted|dyed black|draft|witness|"
    r"thin wall|packed on Tuesday"
)
CODE = re.compile(r"[a-z-]+\.[a-z-]+")  # of a finding, the same in every language


class Told(HTMLParser):
    """What a reader sees and hears of a page, scripts and codes left out."""

    def __init__(self):
        super().__init__()
        self.told, self.silent = [], 0

    def handle_starttag(self, tag, attrs):
        self.silent += tag in ("script", "style", "code")
        self.told += [value for name, value in attrs if name in ("aria-label", "title", "alt", "placeholder") and value]

    def handle_endtag(self, tag):
        self.silent -= tag in ("script", "style", "code")

    def handle_data(self, data):
        if data.strip() and not self.silent:
            self.told.append(" ".join(data.split()))


@cache
def translated():
    """English texts whose German is another, of pages and of sentences."""
    said = {}
    for path in speech.HERE.rglob("de.po"):
        with path.open("rb") as file:
            said |= {m.id: m.string for m in read_po(file) if m.id and isinstance(m.id, str) and m.id != m.string}
    return {text for text in said if text not in set(said.values())}


def english(text):
    """Whether a text is English: one that has a translation, or with a word that only English has."""
    left = INVENTED.sub("", text)
    return left in translated() or (bool(ENGLISH.search(left)) and not CODE.fullmatch(text))


def test_the_list_of_sentences_is_that_of_the_sources():
    """What the pages recognise is what the program says today; `python scripts/texts.py --sentences` writes it."""
    assert sorted(one.text for one in sentences()) == read_sources()


def test_every_sentence_of_the_program_has_german():
    """Findings, reasons, refusals, what to do: nothing is without a translation."""
    with (speech.HERE / "sentences" / "de.po").open("rb") as file:
        known = read_po(file)
    assert len(sentences()) > 3000
    assert [one.text for one in sentences() if not (known.get(one.text) and known.get(one.text).string)] == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Line L07 is not planned: waits for machine: A1 and A2 hold B1 until Wed 3 Mar 06:30",
         "Position L07 ist nicht geplant: wartet auf Maschine: A1 und A2 enthalten B1 bis Mi. 3 März 06:30"),
        ("needs smooth, run on Mon and Fri of every second week only",
         "braucht glätten, läuft nur Mo. und Fr. in jeder zweiten Woche"),
        ("2, first: a wall of 0.7 mm over 35 mm²; limit 0.8 mm",
         "2, zuerst: eine Wand von 0.7 mm auf 35 mm²; Grenze 0.8 mm"),
        ("0.62 mm, at least 0.8 mm", "0.62 mm, mindestens 0.8 mm"),
        ("B1: no can is named", "B1: no can is named"),
        ("B1: no container is named -> scan its label again",
         "B1: kein Gebinde ist genannt -> sein Etikett noch einmal scannen"),
        ("Weigh again; when the books are wrong, weigh the can in first",
         "Noch einmal wiegen; wenn das Buch falsch ist, das Gebinde einwiegen"),
        ("12 lines, about 199 mm (the volume sets the height): print from Tue 08:00 to Tue 20:02, out of the cake Wed "
         "10:27; line 1 is due first, Wed 23:59; on the calendar its print ends Tue 18:14, 2 h before somebody comes",
         "12 Positionen, etwa 199 mm (das Volumen bestimmt die Höhe): Druck von Di. 08:00 bis Di. 20:02, aus dem "
         "Kuchen Mi. 10:27; Position 1 ist zuerst fällig, Mi. 23:59; im Kalender endet sein Druck Di. 18:14, 2 h, "
         "bevor jemand kommt"),
        ("holder to press", "holder to press"),
        ("arm of left lamp", "arm of left lamp"),
        ("M3 to M4 adapter", "M3 to M4 adapter"),
        ("ring and clip", "ring and clip"),
    ],
)  # fmt: skip
def test_sentences_within_sentences(text, said):
    """Values are sentences, days and lists again; few letters are believed only inside one; what people wrote stays."""
    assert Speech("de").sentence(text) == said


def test_what_is_written_in_pictures():
    """Words, titles and what is read aloud of a picture; the page around it is left alone."""
    drawn = (
        '<p>print end</p><svg aria-label="Calendar of machines, chambers, stations and people">'
        "<title>B1 holds 3 kg</title>"
        '<text class="print end">print end</text><text>cool, waits</text><text>Red Kiln</text></svg>'
    )
    assert Speech("de").picture(drawn) == (
        '<p>print end</p><svg aria-label="Kalender der Maschinen, Kammern, Stationen und Leute">'
        "<title>B1 enthält 3 kg</title>"
        '<text class="print end">Druckende</text><text>kühl, wartet</text><text>Red Kiln</text></svg>'
    )
    assert Speech().picture(drawn) == drawn


def test_the_index_finds_what_a_search_through_all_would():
    """A sentence is looked for by its rarest whole word; nothing that matches is passed over."""
    for text in ("a wall of 0.7 mm over 35 mm²; limit 0.8 mm", "3 pieces", "no container is named", "B1 print end"):
        through = [one for one in sentences() if re.fullmatch(one.pattern, text, re.S)]
        found = list(likely(text))
        assert set(through) <= set(found)
        assert found == sorted(found, key=sentences().index)


def test_tables_of_words_in_templates_are_sentences_too():
    """Literals of a table that a statement walks through; a key of one word is none."""
    source = '{% for key, name in [("expires", "new use-by date")] %}{{ name|word }}{% endfor %}<p>Plain words here</p>'
    assert list(template_sentences(source)) == ["new use-by date"]


def told_of(client, address, language):
    """What a reader of a language sees and hears of a page."""
    page, answer = Told(), client.get(address, headers={"accept-language": language})
    assert answer.status_code == 200
    page.feed(answer.text)
    assert len(page.told) > 10
    return page.told


@pytest.mark.parametrize("address", [*(a for a in ALL if a not in SPARED), *MORE, *POWDER])
def test_no_english_is_left_on_a_page(client, address):
    """Everything that is seen and heard is German; names of the invented week are none of these words."""
    german = told_of(client, address, "de")
    assert [text for text in german if english(text)] == []
    same = set(told_of(client, address, "en")).intersection(german)
    assert [
        text
        for text in sorted(same)
        if WORDS.fullmatch(text) and not (SAME.fullmatch(text) or INVENTED.fullmatch(text))
    ] == []
