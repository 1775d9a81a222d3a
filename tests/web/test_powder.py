"""The powder pages: what they say, and the job done by touch from delivery to recall."""

import re
from dataclasses import replace
from datetime import timedelta

import pypdfium2
import pytest

from cakewright.app.powder_books import look
from cakewright.app.powder_deeds import receive_lot
from cakewright.store import open_store
from tests.app.test_powder import START, plan, printed, stocked
from tests.app.test_powder import file_store as store
from tests.documents.world import week
from tests.web.conftest import client_over
from tests.web.test_pages import seen

__all__ = ["plan", "stocked", "store"]  # fixtures
LATER = START + timedelta(days=2)
POWDER = ["", "/cans/V01", "/cans/U01", "/cans/charge%201%2FB1", "/recall", "/recall?lot=V-7712", "/book", "/lots",
          "/book/value", "/book/limit", "/book/decide", "/book/weigh?can=U01&by=Mira", "/book/receive",
          "/book/correct?entry=5", "/outlook", "/month?month=2027-03",
          "/change?machine=A1&to=PA12&by=Mira"]  # fmt: skip
ADDRESSES = [*(f"/powder{below}" for below in POWDER), "/plans/1/builds/B1/powder", "/plans/1/builds/B2/powder?by=Mira"]


@pytest.fixture
def client(store):
    """The pages over a stocked cell of its own, two days after the plan starts."""
    return client_over(store, clock=lambda: LATER)


@pytest.fixture
def used_client(store, plan):
    """The pages after one printed build."""
    printed(store, plan)
    return client_over(store, clock=lambda: LATER)


def post(client, address, **fields):
    """Send a form and follow it to the page that answers."""
    return client.post(address, data=fields, headers={"origin": "http://127.0.0.1"})


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_page_keeps_the_rules(used_client, address):
    """Nothing inline, nothing from elsewhere, ids once."""
    found = seen(used_client, address)
    assert found.inline == []
    assert [link for link in found.links if re.match(r"(https?:)?//", link)] == []
    assert len(found.ids) == len(set(found.ids))


def test_an_empty_database_says_how_to_begin(tmp_path):
    """No plan, no powder: every page still opens and the shelf names the first deed."""
    with open_store(tmp_path / "new.sqlite") as store:
        client = client_over(store, clock=lambda: LATER)
        assert "book the delivered drums" in client.get("/powder").text
        for below in ("/book", "/recall", "/outlook", "/month", "/change", "/book/receive"):
            assert client.get(f"/powder{below}").status_code == 200, below


def test_a_build_by_touch(client, store):
    """Weigh, charge, book back: each step opens the next; the shares are there at the end."""
    here = "/plans/1/builds/B1/powder"
    page = client.get(here).text
    asked = dict(re.findall(r'name="asked:(\w+)" value="([\d.]+)"', page))
    weighed = {f"asked:{c}": kg for c, kg in asked.items()} | {
        f"kg:{c}": kg.replace(".", ",") for c, kg in asked.items()
    }
    said = post(client, here, step="weigh", by="Mira", **weighed).text
    assert "Blend M01" in said
    assert "M01 with" in said
    assert "is in: charge 1/B1" in post(client, here, step="charge", by="Mira", blend="cakewright:can/M01").text
    done = post(client, here, step="back", by="Dev", CAKE="3.5", rest="hoses").text
    assert "loose cake: 3.50 kg in C01" in done
    assert sum(look(store).ledger.grams().values()) == 0
    assert set(store.powder.shares(1, "B1"))
    assert "hold at least 1.0 %" in client.get("/powder/recall?lot=V-7712").text
    rows = client.get("/powder/recall.csv?lot=V-7712").text.splitlines()
    assert len(rows) == 1 + store.load_plan(1).build("B1").pieces


def test_back_from_a_piece_or_an_order_to_its_lots(used_client, store, plan):
    """The page names the lots with their shares; what was not printed is said, not hidden."""
    line = plan.line(plan.build("B1").lines[0])
    for asked in (plan.build("B1").nest.placements[0].piece, line.order):
        text = used_client.get("/powder/recall", params={"made": asked}).text
        assert "V-7712</a> 40." in text, asked
    assert "no powder is booked for a piece or an order" in used_client.get("/powder/recall?made=L99-01").text


def test_the_certificate_names_the_lots_of_the_powder(used_client, plan):
    """A printed build has its lots with their shares on the draft; a build not yet printed leaves the box."""
    order = plan.line(plan.build("B1").lines[0]).order
    pdf = used_client.get("/plans/1/orders/certificate.pdf", params={"order": order}).content
    text = "".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf))
    assert re.search(r"V-7712 4\d %", text)
    assert "stock at the start" in text


def test_the_morning_page_says_what_the_shelf_asks(used_client, client_of_empty):
    """Powder that waits for the sieve is named in the morning; a cell without books hears nothing of it."""
    assert "wait for the sieve" in used_client.get("/plans/1").text
    assert "Powder shelf" not in client_of_empty.get("/plans/1").text


@pytest.fixture
def client_of_empty(tmp_path):
    """The pages over a plan without powder books."""
    with open_store(tmp_path / "plan.sqlite") as store:
        store.save_plan(week(), made_by="Mira", at=START)
        yield client_over(store, clock=lambda: LATER)


def test_the_wrong_can_on_the_scale_is_caught(client, store):
    """A scanned code that is not the can of the line books nothing, and what was typed stays."""
    here = "/plans/1/builds/B1/powder"
    asked = dict(re.findall(r'name="asked:(\w+)" value="([\d.]+)"', client.get(here).text))
    first = next(iter(asked))
    fields = {f"asked:{c}": kg for c, kg in asked.items()} | {f"kg:{c}": kg for c, kg in asked.items()}
    before = store.powder.mark()
    answer = post(client, here, step="weigh", by="Mira", **fields, **{f"scan:{first}": "X99"})
    assert answer.status_code == 422
    assert f"X99 was scanned where {first} belongs" in answer.text
    assert f'value="{asked[first]}"' in answer.text
    assert store.powder.mark() == before


def test_a_word_while_the_can_is_on_the_scale(client):
    """Too much, good, and nonsense are told apart before anything is booked."""
    ask = "/plans/1/builds/B1/powder/check?can=U01&asked=4.0&limit=0.05&kg:U01="
    assert "take out 0.20 kg" in client.get(ask + "4.2").text
    assert "good: +0.020 kg" in client.get(ask + "4,02").text
    assert "type what the scale shows" in client.get(ask + "four").text


@pytest.mark.parametrize(
    ("deed", "fields", "said"),
    [
        ("weigh", {"can": "U01", "kg": "13.9", "reason": "spilled"}, "0.100 kg to missing"),
        ("move", {"can": "u01", "target": "U02", "kg": "2"}, "2.000 kg from U01 into U02"),
        ("waste", {"can": "U02", "kg": "", "reason": "too old"}, "8.000 kg from U02 to waste"),
        ("flow", {"can": "U01", "flow": "20"}, "with 90 % confidence"),
        ("receive", {"material": "PA12", "lot": "V-7800", "drums": "10 9,98", "expires": "2028-06-30"}, "V05, V06"),
        ("open", {"can": "V01", "powder_c": "21", "room_c": "22", "humidity": "45"}, "V01 is open"),
        ("file", {"lot": "V-7712", "what": "storage", "value": "shelf 2"}, "storage filed"),
        ("value", {"lot": "V-7712", "what": "bulk density", "value": "0,45", "origin": "own test"}, "density kept"),
        ("limit", {"material": "PA12", "what": "moisture", "low": "", "high": "0.3", "reason": "trials"}, "limits of"),
        ("decide", {"lot": "V-7712", "decision": "on hold", "reason": "smells"}, "V-7712 is on hold"),
        ("can", {"material": "PA12", "size": "12", "holds": "3", "builds_seen": "1"}, "U03: print its label"),
        ("label", {"can": "U01"}, "no label: waste"),
        ("correct", {"number": "5", "kg": "13", "reason": "read the scale wrong"}, "corrects entry 5 by -1.000 kg"),
    ],
)
def test_every_deed_is_booked_by_its_form(client, store, deed, fields, said):
    """What the form sends is what the books hold, with the name and the time."""
    answer = post(client, f"/powder/book/{deed}", by="Mira", **fields)
    assert answer.status_code == 200
    assert said in answer.text
    assert sum(look(store).ledger.grams().values()) == 0


@pytest.mark.parametrize(
    ("deed", "fields", "said"),
    [
        ("move", {"can": "U01", "target": "U02", "kg": "99"}, "which holds 14.000 kg"),
        ("move", {"can": "U01", "target": "U02", "kg": "many"}, "&#39;many&#39; is no number"),
        ("weigh", {"can": "U01", "kg": "0"}, "a scale reading of 0 kg"),
        ("waste", {"can": "U01", "kg": "1"}, "without a cause"),
        ("receive", {"material": "PA12", "lot": "V-1", "drums": ""}, "in 0 drums"),
        ("flow", {"can": "U99", "flow": "3"}, "no container"),
        (
            "value",
            {"lot": "V-7712", "what": "moisture", "value": "-3", "origin": "own test"},
            "moisture",
        ),
        (
            "limit",
            {"material": "PA12", "what": "moisture", "low": "2", "high": "1", "reason": "x"},
            "lower limit first",
        ),
        ("decide", {"lot": "V-0", "decision": "free", "reason": "x"}, "not in the ledger"),
    ],
)
def test_a_refusal_keeps_what_was_typed(client, store, deed, fields, said):
    """The form comes back with the reason and the figures, and nothing is booked."""
    before = store.powder.mark()
    answer = post(client, f"/powder/book/{deed}", by="Mira", **fields)
    assert answer.status_code == 422
    assert said in answer.text
    assert all(f'value="{value}"' in answer.text for value in fields.values() if value)
    assert store.powder.mark() == before


def test_goods_in_shows_what_holds_a_lot(client):
    """Value, limits and the reason of the hold stand on one page, and on the shelf as a doubt."""
    post(
        client, "/powder/book/limit", by="Mira", material="PA12", what="melt flow", low="45", high="60", reason="trials"
    )
    post(client, "/powder/book/value", by="Mira", lot="V-7712", what="melt flow", value="40", origin="own test")
    text = client.get("/powder/lots").text
    assert "outside 45 to 60" in text and "On hold: melt flow 40 g/10 min" in text
    assert "are on hold: melt flow 40" in client.get("/powder").text
    refused = post(client, "/powder/book/move", by="Mira", can="V01", target="U01", kg="1")
    assert refused.status_code == 422 and "decide about the lot first" in refused.text


def test_nobody_books_without_a_name(client, store):
    """Not even a correct weighing."""
    answer = post(client, "/powder/book/move", by="", can="U01", target="U02", kg="1")
    assert answer.status_code == 422
    assert "choose your name" in answer.text


def test_labels_are_a_pdf_with_every_code(client):
    """One can, or all of them."""
    text = "".join(
        page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(client.get("/powder/labels.pdf").content)
    )
    assert all(code in text for code in ("V01", "V04", "U01", "U02", "Lot V-7712"))
    assert client.get("/powder/labels.pdf?can=U77").status_code == 422


@pytest.fixture
def two_materials(store, plan):
    """A newer plan of the cell with a second material, and a drum of it on the shelf."""
    filled = replace(plan.cell.materials[0], name="PA12-GF")
    cell = replace(plan.cell, materials=(*plan.cell.materials, filled))
    store.save_plan(replace(plan, cell=cell), made_by="Mira", at=LATER)
    receive_lot(store, material="PA12-GF", supplier_lot="G-1", drums_kg=[10], certificate="c", by="Mira", at=LATER)
    return client_over(store, clock=lambda: LATER)


def test_a_change_of_material_needs_two_people_and_every_step(two_materials, store, plan):
    """Steps, purge powder of the new material, the one who cleaned, somebody else who checked."""
    client, here = two_materials, {"machine": plan.cell.machines[0].name, "to": "PA12-GF"}
    assert (
        "prints PA12 already" in post(client, "/powder/change", by="Mira", step="begin", **{**here, "to": "PA12"}).text
    )
    assert "begun by Mira" in post(client, "/powder/change", by="Mira", step="begin", **here).text
    assert "are not signed" in post(client, "/powder/change", by="Mira", step="clean", **here).text
    for step in range(1, 11):
        post(client, "/powder/change", by="Mira", step=str(step), **here)
    assert "no purge powder" in post(client, "/powder/change", by="Mira", step="clean", **here).text
    assert (
        "changes to PA12-GF" in post(client, "/powder/change", by="Mira", step="purge", can="V04", kg="2", **here).text
    )
    post(client, "/powder/change", by="Mira", step="purge", can="V05", kg="2", **here)
    assert "I checked it" in post(client, "/powder/change", by="Mira", step="clean", **here).text
    assert "a second person" in post(client, "/powder/change", by="Mira", step="check", **here).text
    assert "checked by Dev" in post(client, "/powder/change", by="Dev", step="check", **here).text
    assert look(store).ledger.kg("V05") == 8


def test_a_change_pays_when_enough_waits(two_materials, plan):
    """Little work does not pay for going there and back, much does; the campaign is told either way."""
    ask = f"/powder/change?machine={plan.cell.machines[0].name}&to=PA12-GF&waiting="
    assert "are missing" in two_materials.get(ask + "10").text
    rich = two_materials.get(ask + "100000").text
    assert "are left" in rich
    assert "machine hours" in rich


def test_the_outlook_answers_what_if(client):
    """Another refresh ratio gives another page; nonsense is refused."""
    usual = client.get("/powder/outlook").text
    lean = client.get("/powder/outlook?refresh=20").text
    assert "a week" in usual
    assert usual != lean
    assert client.get("/powder/outlook?refresh=many").status_code == 422
