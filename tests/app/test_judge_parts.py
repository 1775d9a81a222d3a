"""Parts are judged once for each shape and question, by whoever is there, with the same answer."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from cakewright.app import judge_parts
from cakewright.app.judge_parts import Question, answers
from cakewright.app.progress import quiet
from cakewright.model.part import OrientationRule
from cakewright.parts.measure import measure
from tests.app.worlds import small_cell
from tests.conftest import box_mesh


@pytest.fixture
def questions():
    """Two equal plates, one that the order says is smaller, and a foil."""
    cell = small_cell()
    plate, foil = box_mesh(60, 40, 5), box_mesh(30, 30, 0.2)
    one = Question(plate, measure(plate), cell.materials[0], cell.chamber_types[0], OrientationRule(), None, None)
    return [one, replace(one), replace(one, nominal_size_mm=(50.0, 40.0, 5.0)),
            replace(one, mesh=foil, measures=measure(foil))]  # fmt: skip


def test_equal_questions_are_answered_once_and_in_order(questions, monkeypatch):
    asked, told = [], []
    real = judge_parts.answer
    monkeypatch.setattr(judge_parts, "answer", lambda question: asked.append(question) or real(question))
    found = answers(questions, lambda *at: told.append(at[:3]))
    assert len(asked) == 3
    assert found[0] == found[1]
    assert found[2] != found[0]
    assert {f.code for f in found[2]} - {f.code for f in found[0]} == {"part.size-differs"}
    assert any("wall" in f.code for f in found[3])
    assert told == [("judging parts", n, 3) for n in (1, 2, 3)]


def test_workers_and_a_crew_say_the_same(questions):
    alone = answers(questions, quiet)
    assert answers(questions, quiet, workers=2) == alone
    with ThreadPoolExecutor(2) as crew:
        assert answers(questions, quiet, crew=crew) == alone


def test_a_cancelled_plan_does_not_judge_the_rest(questions, monkeypatch):
    asked = []
    monkeypatch.setattr(judge_parts, "answer", lambda question: asked.append(question) or ())

    def cancel(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        answers(questions, cancel)
    assert len(asked) == 1
