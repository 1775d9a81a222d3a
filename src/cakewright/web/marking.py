"""Texts of templates marked for translation as they are read: an author writes plain pages, nothing is forgotten.

Before Jinja sees a template, every visible run of words (between tags, and in attributes that are read aloud) becomes
a `gettext` call with the printed values as named placeholders. Babel extracts from the same source, so the catalogue
holds every text of every page. A run ends at tags other than plain emphasis, at statements and at macros.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from jinja2.ext import Extension

EMPHASIS = {"b", "i", "em", "strong", "small", "kbd", "code"}
SILENT = {"script", "style", "svg"}  # what is in there is not text of a page
READ_ALOUD = {"aria-label", "title", "alt", "placeholder", "data-name"}
_JINJA = re.compile(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", re.S)
_TAG = re.compile(r"<(/?)([A-Za-z][\w-]*)")
_ATTRIBUTE = re.compile(r'([\w-]+)="((?:[^"{]|\{(?![{%])|\{\{.*?\}\}|\{%.*?%\})*)"', re.S)
_WORDS = re.compile(r"[^\W\d_]{2}|\b[AI]\b")
_VALUE = re.compile(r"\{\{-?(.*?)-?\}\}", re.S)
_COUNT = re.compile(r'count\(((?:[^()]|\([^()]*\))+?), "([\w ]+)"(?:, "([\w ]+)")?\)')
_LITERAL = re.compile(r'"((?:[^"\\]|\\.)*)"')
_CALL = re.compile(r"\s*(?!n?gettext|count\b)(?:[a-z]\.)?\w+\(")  # macros, also of a module with a short name
_BRANCHES = (re.compile(r'^(\s*)("[^"]+")(?=\s+if\s)'), re.compile(r'((?:\selse|\sor)\s+)("[^"]+")(?=\s*$)'))


class AutoText(Extension):
    """Marks the texts of a template before it is compiled."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The source with its texts marked."""
        return marked(source)


@dataclass
class _Run:
    """Words, values and emphasis that stand together."""

    tokens: list[tuple[str, str]] = field(default_factory=list)

    def take(self) -> list[tuple[str, str]]:
        """The tokens so far; the run begins anew."""
        found, self.tokens = self.tokens, []
        return found


def marked(source: str) -> str:
    """A template with every visible text as a `gettext` call."""
    out: list[str] = []
    run = _Run()
    silent = ""
    for kind, text in tokens(source):
        if silent:
            out.append(text)
            silent = "" if kind == "tag" and text.lower().startswith(f"</{silent}") else silent
            continue
        if kind == "text" or (kind == "value" and not is_call(text)):
            run.tokens.append((kind, text))
            continue
        if kind == "tag" and re.fullmatch(r"</?(\w+)>", text) and text.strip("</>").lower() in EMPHASIS:
            run.tokens.append((kind, text))
            continue
        out.append(_marked_run(run.take()))
        if kind == "tag":
            name = _TAG.match(text)
            silent = name[2].lower() if name and not name[1] and name[2].lower() in SILENT else ""
        out.append(_marked_attributes(text) if kind == "tag" else _marked_arguments(text) if kind == "value" else text)
    out.append(_marked_run(run.take()))
    return "".join(out)


def tokens(source: str) -> Iterator[tuple[str, str]]:
    """A template cut into ('text' | 'value' | 'statement' | 'tag', source) that joined give the whole again."""
    at = 0
    while at < len(source):
        jinja = _JINJA.match(source, at)
        if jinja:
            kind = "value" if jinja[0].startswith("{{") else "statement"
            yield kind, jinja[0]
            at = jinja.end()
        elif _TAG.match(source, at) or source.startswith("<!", at):
            end = _end_of_tag(source, at)
            yield "tag", source[at:end]
            at = end
        else:
            end = at + 1
            while end < len(source) and source[end] not in "<{":
                end += 1
            yield "text", source[at:end]
            at = end


def _end_of_tag(source: str, at: int) -> int:
    """Behind the '>' that ends a tag, past quotes and whatever Jinja writes into it."""
    if source.startswith("<!--", at):
        return source.index("-->", at) + 3
    quote = ""
    while at < len(source):
        jinja = _JINJA.match(source, at)
        if jinja:
            at = jinja.end()
            continue
        letter = source[at]
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == ">":
            return at + 1
        at += 1
    return at


def _marked_run(run: list[tuple[str, str]]) -> str:
    """One message for a run; several when its emphasis is not closed in it."""
    whole = "".join(text for _, text in run)
    if not any(kind == "text" and _WORDS.search(text) for kind, text in run):
        return "".join(_branches(text) if kind == "value" else text for kind, text in run)
    if not _is_balanced(run):
        parts: list[str] = []
        some: list[tuple[str, str]] = []
        for kind, text in [*run, ("tag", "")]:
            if kind == "tag":
                parts += [_marked_run(some) if some else "", text]
                some = []
            else:
                some.append((kind, text))
        return "".join(parts)
    lead, tail = len(whole) - len(whole.lstrip()), len(whole.rstrip())
    return whole[:lead] + _call(run) + whole[tail:]


def is_call(value: str) -> bool:
    """True for a printed value that calls a macro: what it prints has tags of its own."""
    return bool(_CALL.match(value[2:-2].lstrip("-"))) and not _COUNT.match(_inner(value))


def is_worded(literal: str) -> bool:
    """True for a text that a person reads: with a blank, or with a capital in front; codes are neither."""
    return bool(_WORDS.search(literal)) and (" " in literal.strip() or literal[:1].isupper())


def _marked_arguments(value: str) -> str:
    """A call of a macro with the texts among its arguments marked; tables of words are left to their author."""
    if "{" in value[2:-2]:
        return value
    return "{{" + _LITERAL.sub(lambda m: _literal(m[0]) if is_worded(m[1]) else m[0], value[2:-2]) + "}}"


def _literal(quoted: str) -> str:
    """A quoted text as a message; a per cent sign is one, not the beginning of a value."""
    return f"gettext({quoted.replace('%', '%%')})"


def _is_balanced(run: list[tuple[str, str]]) -> bool:
    still: list[str] = []
    for kind, text in run:
        if kind != "tag":
            continue
        name = text.strip("</>")
        if not text.startswith("</"):
            still.append(name)
        elif not still or still.pop() != name:
            return False
    return not still


def _call(run: list[tuple[str, str]], after: str = "") -> str:
    names: dict[str, str] = {}
    message = ""
    for kind, text in run:
        if kind != "value":
            message += text.replace("%", "%%")
            continue
        message += f"%({names.setdefault(_inner(text), _placeholder(_inner(text), names))})s"
    message = re.sub(r"\s+", " ", message).strip().replace("\\", "\\\\").replace('"', '\\"')
    values = "".join(f", {name}=({_marked_counts(_marked_branches(value))})" for value, name in names.items())
    return f'{{{{ gettext("{message}"{values}){after} }}}}'


def _inner(value: str) -> str:
    return value[2:-2].strip("-").strip()


def _placeholder(value: str, taken: dict[str, str]) -> str:
    """A name for a printed value: the last word that is no filter, with a number when it is used already."""
    words = re.findall(r"[A-Za-z_]\w*", re.sub(r'"[^"]*"|\'[^\']*\'', "", value.partition("|")[0])) or ["value"]
    name = words[-1] if words[-1] not in {"if", "else", "not", "in", "is", "and", "or"} else "value"
    used = set(taken.values())
    return next(n for n in (name, *(f"{name}_{i}" for i in range(2, 99))) if n not in used)


def _branches(value: str) -> str:
    """A printed value with the words it chooses from marked."""
    inner = value[2:-2]
    return "{{" + _marked_counts(_marked_branches(inner)) + "}}"


def _marked_branches(inner: str) -> str:
    for pattern in _BRANCHES:
        inner = pattern.sub(lambda m: f"{m[1]}{_literal(m[2])}" if _WORDS.search(m[2]) else m[0], inner)
    return inner


def _marked_counts(inner: str) -> str:
    """`count(n, "piece")` as a message with a plural."""

    def plural(found: re.Match[str]) -> str:
        number, one, many = found[1], found[2], found[3] or found[2] + "s"
        return f'ngettext("%(num)d {one}", "%(num)d {many}", {number})'

    return _COUNT.sub(plural, inner)


def _marked_attributes(tag: str) -> str:
    def one(found: re.Match[str]) -> str:
        name, value = found[1], found[2]
        if name.lower() not in READ_ALOUD:  # an address or what a form sends: never in another language
            return _VALUE.sub(lambda v: f"{{{{ ({v[1].strip()})|as_it_is }}}}", found[0])
        return f'{name}="{_marked_value(value)}"'

    return _ATTRIBUTE.sub(one, tag)


def _marked_value(value: str) -> str:
    out, run = [], _Run()
    for kind, text in tokens(value):
        if kind in ("text", "value"):
            run.tokens.append((kind, text))
            continue
        out += [_attribute_run(run.take()), text]
    return "".join([*out, _attribute_run(run.take())])


def _attribute_run(run: list[tuple[str, str]]) -> str:
    whole = "".join(text for _, text in run)
    if not any(kind == "text" and _WORDS.search(text) for kind, text in run):
        return "".join(_branches(text) if kind == "value" else text for kind, text in run)
    lead, tail = len(whole) - len(whole.lstrip()), len(whole.rstrip())
    return whole[:lead] + _call(run, "|quotable") + whole[tail:]
