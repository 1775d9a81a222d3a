"""What each published check compared is kept with its result, for the page that is made from the test run."""

import re

LONGEST = 120  # characters of one comparison
NUMBER = re.compile(r"-?\d+\.\d{6,}(?:e[+-]?\d+)?")
TOLD = re.compile(r"Obtained: (?P<found>\S+) Expected: (?P<wanted>.+)$")
WRAPPED = re.compile(r"(?:np\.\w+|array)\(([^()]*)\)")


def pytest_assertion_pass(item, lineno, orig, expl):
    """Note the comparison with its values: 'computed against published'."""
    text = compared(expl)
    if text:
        item.user_properties.append(("compared", text))


def compared(explained: str) -> str:
    """The values of an assertion that held, short enough for a table; empty when it compares nothing."""
    text = " ".join(explained.split())
    told = TOLD.search(text)
    if told:
        text = f"{told['found']} against {told['wanted']}"
    else:
        text = re.split(r" comparison failed|\s\+?\s*where ", text)[0]
        if not any(sign in text for sign in (" == ", " < ", " <= ", " > ", " >= ")):
            return ""
        text = text.replace(" == approx(", " against (", 1).replace(" == ", " against ", 1)
    text = WRAPPED.sub(r"\1", text)
    return NUMBER.sub(lambda found: f"{float(found.group()):.6g}", text)[:LONGEST]
