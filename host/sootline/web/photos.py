"""A photo as the logbook keeps it: small, upright, and without what a camera writes beside the picture."""

import io
import warnings

from PIL import Image, ImageFile, ImageOps

from sootline.errors import UserError

MOST_BYTES = 12 * 1024 * 1024
MOST_PIXELS = {"JPEG": 60_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}  # a JPEG need not be read in full
SIDE = 1600  # of the picture kept [pixels]


class NotAPhoto(UserError):
    """What was sent cannot be kept as a photo; the text says why."""


def kept(data: bytes) -> bytes:
    """The photo in `data`, drawn anew as a JPEG of at most SIDE x SIDE, so that no place and no maker goes with it."""
    ImageFile.LOAD_TRUNCATED_IMAGES = False  # what makes our PDFs turns it on for the whole process
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=tuple(MOST_PIXELS)) as picture:
                if picture.width * picture.height > MOST_PIXELS[picture.format or "PNG"]:
                    raise NotAPhoto("The photo has too many pixels. Take it again at a smaller size.")
                picture.draft("RGB", (SIDE, SIDE))  # a JPEG is read at a fraction of its size where that will do
                upright = ImageOps.exif_transpose(picture).convert("RGB")
    except NotAPhoto:
        raise
    except Exception as error:  # what is wrong with a damaged picture may show anywhere in the library
        raise NotAPhoto("That is no photo that can be read; send a JPEG, PNG or WebP picture.") from error
    upright.thumbnail((SIDE, SIDE))
    plain = Image.new("RGB", upright.size)
    plain.paste(upright)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=80, optimize=True)
    return out.getvalue()
