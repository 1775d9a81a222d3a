"""The code of a label from a picture that the camera of a tablet or phone took."""

from __future__ import annotations

import io

from cakewright.app.run_notes import decoded_picture
from cakewright.errors import InputError
from cakewright.store.photos import LARGEST_BYTES

MOST_PIXELS = 40_000_000


def read_label(picture: bytes | str) -> str:
    """The text of the one QR code or barcode in a picture: bytes of a file, or a data address as a tablet makes it.

    InputError when there is no picture, none can be read, no code is in it, or several that say different things.
    """
    import zxingcpp
    from PIL import Image, UnidentifiedImageError

    content = decoded_picture(picture) if isinstance(picture, str) else picture
    if not content or len(content) > LARGEST_BYTES:
        raise InputError("there is no picture" if not content else "the picture is too large", where="picture",
                         remedy="take one of the label, or type its code")  # fmt: skip
    try:
        with Image.open(io.BytesIO(content)) as image:
            if image.width * image.height > MOST_PIXELS:
                raise InputError(f"the picture has {image.width} × {image.height} points", where="picture",
                                 remedy="take a smaller one, or type the code")  # fmt: skip
            found = {code.text.strip() for code in zxingcpp.read_barcodes(image.convert("L")) if code.text.strip()}
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as wrong:
        raise InputError("this is no picture", remedy="send a JPEG, PNG or WebP file", where="picture") from wrong
    if not found:
        raise InputError("no code can be read in the picture", where="picture",
                         remedy="go nearer, hold it level and in the light, or type the code")  # fmt: skip
    if len(found) > 1:
        raise InputError(f"{len(found)} labels are in the picture", where="picture",
                         remedy="take a picture of one label only")  # fmt: skip
    return found.pop()
