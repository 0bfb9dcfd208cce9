"""Makes a picture of ours from whatever was sent: known by its content, drawn anew, without its metadata."""

from __future__ import annotations

import io
import warnings

from PIL import Image, ImageOps, UnidentifiedImageError

FORMATS = ("JPEG", "PNG", "GIF", "WEBP")
MOST_PIXELS = 40_000_000
LONGEST_SIDE = 1600
QUALITY = 82


class NotAPicture(Exception):
    """What was sent cannot be shown as a picture: why."""


def drawn_anew(octets: bytes) -> tuple[bytes, int, int]:
    """A JPEG of the same picture, upright, of at most 1600 pixels a side, with its width and height.

    Position, camera, comments and whatever else the file carried stay behind. Raises NotAPicture.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(octets), formats=FORMATS) as sent:
                if sent.width * sent.height > MOST_PIXELS:
                    raise NotAPicture("it has too many pixels")
                sent.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
                picture = _on_white(ImageOps.exif_transpose(sent))
    except UnidentifiedImageError:
        raise NotAPicture("it is not a JPEG, PNG, GIF or WebP picture") from None
    except (OSError, SyntaxError, ValueError, Warning, Image.DecompressionBombError) as error:
        raise NotAPicture(f"it is damaged ({type(error).__name__})") from error
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue(), picture.width, picture.height


def _on_white(picture: Image.Image) -> Image.Image:
    """Pixels alone, in a new picture: nothing attached to the old one comes along."""
    with_alpha = picture.convert("RGBA")
    bare = Image.new("RGB", picture.size, "white")
    bare.paste(with_alpha, mask=with_alpha.getchannel("A"))
    return bare
