"""The page of numbers says how capable each measured characteristic is, the least capable first."""

from cakewright.app.inspect_line import record_reading, sample_of
from cakewright.store import open_store
from tests.web.conftest import TUESDAY, client_over, warm_week


def test_capability_is_on_the_page_of_numbers(tmp_path):
    """Twenty widths within wide limits, twenty lengths within tight ones, five depths: two rows, one without."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(warm_week(), made_by="Mira", at=TUESDAY)
        plan = store.load_plan(1)
        client = client_over(store)
        assert "Nothing is measured yet" in client.get("/plans/1/numbers").text
        piece = sample_of(plan, 1).pieces[0]
        for name, half, values in (("width", 0.2, 20), ("length", 0.02, 20), ("depth", 0.2, 5)):
            for n in range(values):
                record_reading(store, plan, 1, piece=piece, name=name, value=10 + 0.01 * (-1) ** n, low=10 - half,
                               high=10 + half, gauge="calliper 3", by="Mira", at=TUESDAY)  # fmt: skip
        text = client.get("/plans/1/numbers").text.partition('id="capable"')[2].partition("</section>")[0]
    assert 0 < text.index("length") < text.index("width")
    assert "depth" not in text and "1 characteristic without" in text
    tight, wide = (float(row.split("<")[0]) for row in text.split('data-name="Cpk" class="number">')[1:])
    assert tight < 1 < wide
