"""The powder books: grams only ever move, and every refusal names the figures."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.powder.ledger import Container, ContainerKind, EntryKind, Ledger, Lot
from tests.powder.worlds import GREY, at, small_cell, stocked_cell

PLACES = ["supplier", "opening stock", "missing", "waste", "D1", "D2", "C1", "C2", "C3", "M1", "parts B1", "parts B2"]
random_moves = st.lists(
    st.tuples(st.sampled_from(PLACES), st.sampled_from(PLACES), st.integers(1, 20_000)), max_size=40
)


def try_all(ledger: Ledger, moves) -> Ledger:
    """Post what the ledger accepts."""
    for minute, (source, target, grams) in enumerate(moves, start=1):
        try:
            ledger.move(at=at(minute), source=source, target=target, kg=grams / 1000, who="Dev")
        except InputError as refused:
            assert refused.found
    return ledger


@given(moves=random_moves)
def test_grams_are_conserved(moves):
    """Over any sequence of movements everything adds up to zero and no container is below zero."""
    ledger = try_all(small_cell(), moves)
    grams = ledger.grams()
    assert sum(grams.values()) == 0
    assert all(g >= 0 for key, g in grams.items() if key not in ("supplier", "opening stock"))


@given(moves=random_moves, data=st.data())
def test_corrections_keep_the_books_whole(moves, data):
    """Whatever is corrected, a replay of the entries gives the same books, and movements give the balances."""
    ledger = try_all(stocked_cell(), moves)
    for k in range(data.draw(st.integers(0, 4))):
        number = data.draw(st.integers(1, len(ledger.entries)))
        kg = data.draw(st.integers(0, 20_000)) / 1000
        try:
            ledger.correct(number, kg=kg, at=at(1000 + k), who="Mira", reason="read the wrong scale")
        except InputError as refused:
            assert refused.remedy
    again = Ledger.replay(ledger.lots.values(), ledger.containers.values(), ledger.entries)
    assert again.grams() == ledger.grams()
    held = dict.fromkeys(ledger.containers, 0)
    for m in ledger.movements():
        held[m.source] -= m.grams
        held[m.target] += m.grams
        assert all(g >= 0 for key, g in held.items() if key not in ("supplier", "opening stock"))
    assert held == ledger.grams()


@given(first=st.permutations([("D1", "C2", 1500), ("D2", "C3", 2500), ("C1", "M1", 700)]))
def test_order_of_independent_movements_does_not_matter(first):
    """Three movements that share no container give the same books in any order."""
    assert try_all(stocked_cell(), first).grams() == try_all(stocked_cell(), sorted(first)).grams()


def test_a_correction_is_a_new_entry():
    """The wrong figure stays readable; the balance is that of the right one."""
    ledger = stocked_cell()
    wrong = ledger.move(at=at(1), source="D1", target="C2", kg=5.0, who="Dev")
    new = ledger.correct(wrong.number, kg=4.8, at=at(2), who="Mira", reason="bucket weighed with its lid")
    assert ledger.entries[wrong.number - 1].kg == 5.0
    assert (new.corrects, new.grams, ledger.kg("C2"), ledger.kg("D1")) == (wrong.number, -200, 4.8, 5.2)


def test_a_correction_that_would_have_emptied_a_can_below_zero_is_refused():
    """What went on into the machine cannot vanish from the can behind it."""
    ledger = stocked_cell()
    filled = ledger.move(at=at(1), source="D1", target="C2", kg=5.0, who="Dev")
    used = ledger.move(at=at(2), source="C2", target="M1", kg=4.5, who="Dev")
    with pytest.raises(InputError, match=r"'C2' would have held -0.500 kg after entry 5"):
        ledger.correct(filled.number, kg=4.0, at=at(3), who="Mira", reason="typed wrong")
    ledger.correct(used.number, kg=4.0, at=at(3), who="Mira", reason="typed wrong")
    ledger.correct(filled.number, kg=4.0, at=at(4), who="Mira", reason="typed wrong")
    assert ledger.kg("C2") == 0


def test_weigh_in_names_the_difference():
    """150 g less on the scale than in the books is booked as missing, with its reason."""
    ledger = stocked_cell()
    entry = ledger.weigh_in("C1", kg=7.85, at=at(5), who="Mira", reason="dust on the floor", missing="missing",
                            found="opening stock")  # fmt: skip
    assert entry is not None
    assert (entry.target, entry.grams, ledger.kg("C1")) == ("missing", 150, 7.85)
    same = ledger.weigh_in(
        "C1", kg=7.85, at=at(6), who="Mira", reason="again", missing="missing", found="opening stock"
    )
    assert same is None


@pytest.mark.parametrize(
    ("source", "target", "kg", "words"),
    [
        ("C1", "M1", 9.0, r"9.000 kg from 'C1', which holds 8.000 kg"),
        ("C1", "M1", 0.0, "a scale reading of 0 kg"),
        ("C1", "M1", -1.0, "a scale reading of -1 kg"),
        ("C1", "M1", float("nan"), "a scale reading of nan kg"),
        ("C1", "M1", 0.0002, "below one gram"),
        ("C1", "D1", 1.0, "virgin drum"),
        ("supplier", "C2", 1.0, "deliveries go into virgin drums"),
        ("waste", "C1", 1.0, "nothing leaves it"),
        ("C1", "supplier", 1.0, "nothing goes there"),
        ("C1", "C9", 1.0, "'C9' is not in the ledger"),
        ("C1", "C1", 1.0, "to itself"),
    ],
)
def test_impossible_movements_are_refused(source, target, kg, words):
    """Each refusal names container and figures, and the books do not change."""
    ledger = stocked_cell()
    before = ledger.grams()
    with pytest.raises(InputError, match=words):
        ledger.move(at=at(1), source=source, target=target, kg=kg, who="Dev")
    assert ledger.grams() == before


def test_two_materials_never_meet():
    """Glass-filled powder does not go into a grey can, but goes to waste."""
    ledger = stocked_cell()
    ledger.add_container(Container("G1", ContainerKind.USED, "PA12-GF"))
    ledger.move(at=at(1), source="opening stock", target="G1", kg=3, who="Dev")
    with pytest.raises(InputError, match="holds PA12-GF, 'C1' is for PA12 grey"):
        ledger.move(at=at(2), source="G1", target="C1", kg=1, who="Dev")
    ledger.move(at=at(2), source="G1", target="waste", kg=1, who="Dev", kind=EntryKind.DISCARD)


def test_an_unlabelled_can_is_waste():
    """Powder without a label goes nowhere but to waste."""
    ledger = stocked_cell()
    ledger.add_container(Container("X", ContainerKind.USED, GREY, is_labelled=False))
    ledger.move(at=at(1), source="opening stock", target="X", kg=3, who="Dev")
    with pytest.raises(InputError, match="no label"):
        ledger.move(at=at(2), source="X", target="M1", kg=1, who="Dev")
    ledger.move(at=at(2), source="X", target="waste", kg=3, who="Dev", kind=EntryKind.DISCARD)


@pytest.mark.parametrize(
    ("lot", "words"),
    [
        (Lot("V-1", GREY, "S1", date(2026, 1, 1), certificate=""), "has no certificate"),
        (Lot("V-1", GREY, "S1", date(2026, 1, 1), certificate="c.pdf", expires=date(2027, 2, 28)), "by 2027-02-28"),
    ],
)
def test_lots_without_certificate_or_past_their_date_stay_shut(lot, words):
    """A lot is used only with its certificate read and within its date; it may always be discarded."""
    ledger = stocked_cell()
    ledger.add_lot(lot)
    ledger.add_container(Container("D3", ContainerKind.VIRGIN, GREY, lot="V-1"))
    ledger.move(at=at(1), source="supplier", target="D3", kg=10, who="Mira")
    with pytest.raises(InputError, match=words):
        ledger.move(at=at(2), source="D3", target="M1", kg=1, who="Dev")
    ledger.move(at=at(2), source="D3", target="waste", kg=10, who="Dev", kind=EntryKind.DISCARD)


def test_time_runs_forward_in_each_container():
    """An entry before the last one of the same can is refused, since it would change what was mixed."""
    ledger = stocked_cell()
    ledger.move(at=at(10), source="C1", target="M1", kg=1, who="Dev")
    with pytest.raises(InputError, match="was moved at 2027-03-01 06:50"):
        ledger.move(at=at(9), source="C1", target="C2", kg=1, who="Dev")
    ledger.move(at=at(9), source="D1", target="C2", kg=1, who="Dev")


def test_a_full_can_is_full():
    """A 10 kg can does not take 11."""
    ledger = stocked_cell()
    ledger.add_container(Container("C9", ContainerKind.USED, GREY, capacity_kg=6))
    with pytest.raises(InputError, match=r"would hold 7.000 kg of at most 6 kg"):
        ledger.move(at=at(1), source="C1", target="C9", kg=7, who="Dev")


def test_a_gap_in_stored_entries_is_noticed():
    """Removing an entry from the store is found when the ledger is read."""
    ledger = stocked_cell()
    with pytest.raises(InputError, match="entry 3 follows entry 1"):
        Ledger.replay(ledger.lots.values(), ledger.containers.values(), [ledger.entries[0], ledger.entries[2]])


def test_nobody_and_nowhen_are_refused():
    """Each movement has a name and an instant with a zone."""
    ledger = stocked_cell()
    with pytest.raises(InputError, match="nobody is named"):
        ledger.move(at=at(1), source="C1", target="C2", kg=1, who=" ")
    with pytest.raises(InputError, match="no time zone"):
        ledger.move(at=at(1).replace(tzinfo=None), source="C1", target="C2", kg=1, who="Dev")
    assert at(1) + timedelta(minutes=1) == at(2)
