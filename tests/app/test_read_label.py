"""A label is read from a picture, or it is said why not."""

import base64
import io

import pytest
import segno
from PIL import Image

from cakewright.app.read_label import read_label
from cakewright.errors import InputError


def picture(*codes, size=(900, 500)):
    """A grey picture with QR codes side by side, as a camera file."""
    image = Image.new("L", size, 190)
    for n, code in enumerate(codes):
        out = io.BytesIO()
        segno.make(code, error="m").save(out, kind="png", scale=5, border=4)
        out.seek(0)
        image.paste(Image.open(out).convert("L"), (40 + 420 * n, 60))
    out = io.BytesIO()
    image.save(out, "jpeg", quality=80)
    return out.getvalue()


def test_a_code_is_read_from_a_file_and_from_a_tablet():
    """As bytes, and as the data address that the tablet makes."""
    content = picture("cakewright:can/M01")
    assert read_label(content) == "cakewright:can/M01"
    assert read_label("data:image/jpeg;base64," + base64.b64encode(content).decode()) == "cakewright:can/M01"


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"", "there is no picture"), (b"GIF89a nonsense", "this is no picture"), (picture(), "no code can be read"),
     (picture("C1", "C2"), "2 labels are in the picture")],
)  # fmt: skip
def test_what_cannot_be_read_is_said(content, said):
    """With what to do: go nearer, one label only, or type the code."""
    with pytest.raises(InputError, match=said) as wrong:
        read_label(content)
    assert wrong.value.remedy
