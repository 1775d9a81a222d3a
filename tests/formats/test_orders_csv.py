"""The order list: forgiving about spreadsheets, strict about meaning, every problem named at once."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.demo import demo_cell
from cakewright.errors import CakewrightError, OrderListError
from cakewright.formats.orders_csv import COLUMNS, read_orders
from tests.conftest import ROOT

HEAD = "line,part,qty,material,finish,due\n"
GOOD = "1,bracket,2,PA12,raw,2027-03-05\n"


@pytest.fixture(scope="module")
def cell():
    """The small demo cell: one material, six finishes."""
    return demo_cell("a")


@pytest.fixture
def listed(tmp_path, cell):
    """Read a list given as text or bytes."""

    def read(content: str | bytes):
        path = tmp_path / "week.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_orders(path, cell)

    return read


@pytest.fixture
def refused(listed):
    """The message with which a list is refused."""

    def read(content: str | bytes) -> str:
        with pytest.raises(OrderListError) as caught:
            listed(content)
        return str(caught.value)

    return read


def test_the_least_list(listed):
    """Six columns are enough; the rest has stated defaults."""
    orders = listed(HEAD + GOOD)
    line = orders.lines[0]
    assert (line.quantity, line.quality_class, line.received, line.due) == (2, "standard", line.due, date(2027, 3, 5))
    assert [f.code for f in orders.findings] == ["orders.received-missing"]


def test_a_spreadsheet_of_another_country(listed):
    """Semicolons, byte order mark, CRLF, decimal commas, dotted days, quoted line ends: one and the same list."""
    content = (
        "\ufeffLine;Part;Quantity;Revision;Material;Finish;Due;Received;x_mm;y_mm;z_mm;vol_cm3;flags\r\n"
        '7;"bracket; long\r\nwith ""lip""";3;B;pa12;RAW;05.03.2027;1.3.2027;14,5;20;30;8,2;"flat, warp risk"\r\n'
    )
    line = listed(content).lines[0]
    assert line.part == 'bracket; long\r\nwith "lip"'
    assert (line.material, line.finish, line.received) == ("PA12", "raw", date(2027, 3, 1))
    assert line.nominal_size_mm == (14.5, 20, 30) and line.nominal_volume_cm3 == 8.2
    assert line.flags == ("flat", "warp risk")


def test_every_problem_of_a_list_in_one_message(refused):
    """Six mistakes on four lines: each with its line in the file, in order."""
    message = refused(
        HEAD + "1,a,0,PA12,raw,2027-02-30\n" + "1,b,2,PA11,raw,2027-03-05\n" + "\n" + "2,,1,PA12,rwa,05/03/2027\n"
    )
    assert "7 problems" in message
    order = [
        "line 2: qty is '0'",
        "line 2: due is '2027-02-30': there is no such day",
        "line 3: line 1 was there in line 2",
        "line 3: material 'PA11' is not in the cell -> known: PA12",
        "line 5: due is '05/03/2027'",
    ]
    places = [message.index(part) for part in order]
    assert places == sorted(places)
    assert "line 5: the cell 'part' is empty" in message and "finish 'rwa'" in message


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "the file is empty"),
        ("\n \n", "the file is empty"),
        (HEAD, "no order line"),
        ("line,part,qty,material,finish\n", "column 'due' is missing"),
        ("line,part,qtty,material,finish,due\n" + GOOD, "column 'qty' is missing; is it 'qtty'?"),
        ("line,part,qty,qty,material,finish,due\n" + GOOD, "column 'qty' is there twice"),
        (HEAD + GOOD.replace(",2,", ",-2,"), "qty is '-2', expected a whole number"),
        (HEAD + GOOD.replace(",2,", ",2.5,"), "qty is '2.5'"),
        (HEAD + GOOD.replace(",2,", ",²,"), "qty is '²'"),
        (HEAD + "1,tiny, cage,2,PA12,raw,2027-03-05\n", "put quotes around a cell"),
        (HEAD + '1,"open,2,PA12,raw,2027-03-05\n', "not readable as CSV"),
        (HEAD + GOOD.replace("bracket", "brac\x07ket"), "control character"),
        ("line,part,qty,material,finish,due,received\n1,a,1,PA12,raw,2027-03-05,2027-03-06\n", "before received"),
        ("line,part,qty,material,finish,due,x_mm\n1,a,1,PA12,raw,2027-03-05,3\n", "only x_mm of the size"),
        ("line,part,qty,material,finish,due,vol_cm3\n1,a,1,PA12,raw,2027-03-05,-3\n", "vol_cm3 is '-3'"),
        (
            "line,part,qty,material,finish,due,class\n1,a,1,PA12,raw,2027-03-05,best\n",
            "class 'best' is not in the cell",
        ),
        ("Größe\n".encode("latin-1"), "CSV UTF-8"),
        ((HEAD + GOOD).encode("utf-16"), "CSV UTF-8"),
    ],
)
def test_what_cannot_be_used_is_refused_with_a_remedy(refused, content, said):
    """Each message says what was found and what to do."""
    message = refused(content)
    assert said in message
    assert "->" in message


def test_a_wrong_heading_is_said_once_not_for_every_line(refused):
    """Without the column 'due' two hundred lines are not two hundred problems."""
    message = refused("line,part,qty,material,finish\n" + "1,a,1,PA12,raw\n" * 200)
    assert message.count("->") == 1


def test_long_lists_of_problems_are_cut(refused):
    """Forty are shown, the others counted."""
    message = refused(HEAD + "".join(f"{n},a,0,PA12,raw,2027-03-05\n" for n in range(1, 101)))
    assert "100 problems" in message and "and 60 more" in message


def test_formulas_stay_text(listed):
    """A cell that a spreadsheet would calculate is kept as it is and mentioned."""
    orders = listed(HEAD + GOOD.replace("bracket", "=1+1"))
    assert orders.lines[0].part == "=1+1"
    assert "orders.formula-like" in [f.code for f in orders.findings]


def test_unused_columns_are_mentioned(listed):
    """A heading nobody knows is a note with the nearest known one."""
    orders = listed("line,part,qty,material,finish,due,classs\n" + GOOD.strip() + ",fine\n")
    note = next(f for f in orders.findings if f.code == "orders.unknown-column")
    assert "did you mean 'class'?" in note.text


def test_a_missing_file_is_named(tmp_path, cell):
    """The message has the path."""
    with pytest.raises(OrderListError, match=r"none\.csv: there is no such file"):
        read_orders(tmp_path / "none.csv", cell)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode) | st.text(alphabet='1a,;"\n -', max_size=80)
       .map(lambda rows: (HEAD + rows).encode()))  # fmt: skip
def test_no_file_makes_the_reader_stumble(tmp_path_factory, content):
    """Whatever the bytes, it is a list or one of our errors."""
    path = tmp_path_factory.mktemp("list") / "week.csv"
    path.write_bytes(content)
    try:
        read_orders(path, demo_cell("a"))
    except CakewrightError as refused:
        assert refused.found


def test_every_column_is_documented():
    """The reference page lists each column with its meaning and whether it is needed."""
    page = (ROOT / "docs/reference/order-list.md").read_text(encoding="utf-8")
    for column in COLUMNS:
        assert f"| `{column.name}` | {column.what} | {'yes' if column.is_required else 'no'} |" in page


def test_every_finding_is_documented():
    """Codes used by the reader are on the page of findings, and no others."""
    import re

    source = (ROOT / "src/cakewright/formats/orders_csv.py").read_text(encoding="utf-8")
    page = (ROOT / "docs/reference/findings/orders.md").read_text(encoding="utf-8")
    assert set(re.findall(r'"(orders\.[a-z-]+)"', source)) == set(re.findall(r"`(orders\.[a-z-]+)`", page))
