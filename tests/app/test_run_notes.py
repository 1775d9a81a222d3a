"""What happens beside a print: notes with their layer, moved chambers, pictures, the warp list."""

import base64
from datetime import timedelta

import pytest

from cakewright.app import run_build, run_notes, warp_list
from cakewright.app.floor_asks import floor_asks
from cakewright.errors import InputError, StoreError
from cakewright.model.floor import FloorKind
from cakewright.store import PieceState, last_words
from cakewright.store.photos import LARGEST_BYTES
from tests.app.floor_worlds import NOW

JPEG = b"\xff\xd8\xff\xe0" + bytes(200)


def test_a_note_names_the_lines_its_layer_touches(store, plan):
    """A streak at layer 80 of B1 (8 mm) runs through the plates of line 1 only."""
    build = plan.build("B1")
    kept = run_notes.note(store, plan, build, "streak at x 210", by="Jon", at=NOW, layer=80)
    assert kept.data["layer"] == 80
    assert run_notes.lines_at(plan, build, 80) == (1,)
    with pytest.raises(InputError, match="layers 0 to 1350"):
        run_notes.note(store, plan, build, "x", by="Jon", at=NOW, layer=9999)
    with pytest.raises(InputError, match="empty"):
        run_notes.note(store, plan, build, " ", by="Jon", at=NOW)


def test_a_chamber_is_moved_to_places_there_are(store, plan):
    """To the bay, then to the bench; the last word counts; strange chambers and places are refused with the list."""
    build = plan.build("B1")
    for to in ("cooling bay", "bench"):
        run_notes.move_chamber(store, plan, build, "k1", to, by="Jon", at=NOW)
    records = store.floor.records(plan=1, build="B1")
    assert run_notes.standing(records).data == {"chamber": "K1", "to": "bench"}
    with pytest.raises(InputError, match=r"no chamber 'K9'.*K1, K2"):
        run_notes.move_chamber(store, plan, build, "K9", "bench", by="Jon", at=NOW)
    with pytest.raises(InputError, match=r"no place.*cooling bay"):
        run_notes.move_chamber(store, plan, build, "K1", "the moon", by="Jon", at=NOW)


def test_a_picture_is_kept_once_and_given_back(store, plan):
    """As a file or as a tablet's text; too large, no picture and a cut one are refused; nothing else is kept."""
    build = plan.build("B1")
    text = "data:image/jpeg;base64," + base64.b64encode(JPEG).decode()
    first = run_notes.keep_photo(
        store, plan, build, text, by="Jon", at=NOW, kept_at=NOW, note="layer 20", uid="tab-a-01"
    )
    assert run_notes.keep_photo(store, plan, build, text, by="Jon", at=NOW, kept_at=NOW, uid="tab-a-01") == first
    assert store.photos.content(first) == ("image/jpeg", JPEG)
    assert [p.note for p in store.photos.of_build(1, "B1")] == ["layer 20"]
    wrong = {"no picture": b"<svg onload=alert(1)>", "MB": JPEG + bytes(LARGEST_BYTES), "cut off": text[:-1],
             "this is no picture": "hello"}  # fmt: skip
    for said, content in wrong.items():
        with pytest.raises(InputError, match=said):
            run_notes.keep_photo(store, plan, build, content, by="Jon", at=NOW, kept_at=NOW)
    with pytest.raises(StoreError, match="no picture 99"):
        store.photos.content(99)
    assert len(store.photos.of_build(1, "B1")) == 1


def test_opened_early_every_piece_is_on_the_warp_list_until_looked_at(store, plan):
    """Nineteen pieces, asked for in the morning; two looked at, one of them warped."""
    build = plan.build("B1")
    assert warp_list.warp_list(store, plan, build) == ()
    run_build.open_early(store, plan, build, by="Jon", at=NOW, reason="customer at the door")
    assert len(warp_list.warp_list(store, plan, build)) == build.pieces
    assert any(f.code == "floor.warp-list" and "opened early by Jon" in f.message for f in floor_asks(store, plan, NOW))
    warp_list.look_at_piece(store, plan, build, ("L01-01",), "flat", by="Mira", at=NOW)
    warp_list.look_at_piece(store, plan, build, ("L01-02",), "warped", by="Mira", at=NOW)
    entries = warp_list.warp_list(store, plan, build)
    assert [e.piece for e in entries if e.is_warped] == ["L01-02"]
    assert sum(e.said is None for e in entries) == build.pieces - 2
    with pytest.raises(InputError, match="not on the warp list"):
        warp_list.look_at_piece(store, plan, build, ("L04-01",), "flat", by="Mira", at=NOW)
    with pytest.raises(InputError, match="no verdict"):
        warp_list.look_at_piece(store, plan, build, ("L01-01",), "bent", by="Mira", at=NOW)


def test_two_tablets_that_were_offline_merge_without_loss(store, plan):
    """A found a piece at 10:00, B said broken at 10:05 and was sent first: B's later word counts, both are kept.

    A sends again after a lost answer: nothing is added, and the older word does not come back.
    """
    ten = NOW + timedelta(hours=3)
    said = [("Ada", PieceState.BROKEN, ten + timedelta(minutes=5)), ("Jon", PieceState.FOUND, ten)]
    for by, state, at in [*said, said[1]]:
        store.record_piece(plan=1, build="B1", piece="L01-01", state=state, by=by, at=at)
    records = store.piece_records(1, "B1")
    assert len(records) == 2
    assert last_words(records)["L01-01"].state is PieceState.BROKEN
    checks = run_build.run_state(store, plan, plan.build("B1")).checks
    for tablet, point in (("a", checks[0]), ("b", checks[1]), ("a", checks[0])):
        run_build.say_check(store, plan, plan.build("B1"), point.key, by="Jon", at=ten, uid=f"tablet-{tablet}-1",
                            kept_at=ten + timedelta(hours=1))  # fmt: skip
    assert len(store.floor.records(plan=1, kind=FloorKind.CHECK)) == 2
