"""What can be read from an image without running it, compared with the image written before."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import wrap

from hostlink.archive import Archive
from hostlink.archive.firmware import FirmwareWrite
from hostlink.firmware.image import Image
from hostlink.firmware.image_speeds import SpeedSetting
from hostlink.firmware.knowledge import ImageChanges, ImageKnowledge, compare_images, read_image
from hostlink.jobs.firmware.request import Written
from hostlink.sentences import WORD_TABLE_MISSING, held_before
from hostlink.words import plural

NOTHING_WRONG = "Nothing is wrong with it as a file; only you can tell whether it is the right one."

_MOST_TEXTS = 16
_WIDTH = 76


@dataclass(frozen=True, slots=True)
class ImageTold:
    """What was read from an image. before: the name of the image compared with it, "" for none."""

    knowledge: ImageKnowledge
    before: str = ""
    changes: ImageChanges | None = None


def tell_image(image: Image, archive: Archive | None = None) -> ImageTold:
    """Read an image, and compare it with the last other image that was written for the same use.

    archive: None if there is none.
    """
    knowledge = read_image(image.flash)
    last = _written_before(image, archive) if archive is not None else None
    if last is None:
        return ImageTold(knowledge)
    changes = compare_images(knowledge, read_image(last.image.flash))
    return ImageTold(knowledge, last.image.name or last.image.sha256[:12], changes)


def _written_before(image: Image, archive: Archive) -> FirmwareWrite | None:
    """Return the newest write of another image; of the same role if the image's role is known."""
    role = archive.image_role(image.sha256)
    for write in archive.writes():
        other = write.image.sha256 != image.sha256
        if other and write.image.sound and (not role or write.role == role):
            return write
    return None


def written_words(written: Written) -> list[str]:
    """Return the sentences on a finished write: on the image, with the banner, and on the programs.

    The second is left out if the board had no programs.
    """
    what = "every page held it already, and nothing was written"
    if written.written:
        what = f"{plural(written.written, 'page')} written and read back"
    finished = "The write that was cut off is finished. " if written.resumed else ""
    others = ""
    if written.written and written.right:
        others = f"; the other {plural(written.right, 'page')} of its flash were already right"
    said = f' The board says "{written.banner}".' if written.banner else ""
    told = [f"{finished}{written.image.name} is on the board: {what}{others}.{said}"]
    if written.restored:
        told.append(f"Its programs are back on it, proven ({written.backup}).")
    elif written.backup:
        told.append(held_before(written.backup))
    return told


def told_rows(told: ImageTold) -> list[str]:
    """Return the rows on what was read from an image."""
    known = told.knowledge
    rows = ["Read from the image, which was not run:"]
    if known.words:
        forms = ", ".join(dict.fromkeys(table.form for table in known.tables))
        rows.append(f"{plural(len(known.words), 'BASIC word')} in a table (marked by {forms}).")
        rows.append("They may include a message or a help text that is stored in the same way:")
        rows += [f"  {row}" for row in wrap(" ".join(known.words), _WIDTH)]
    else:
        rows.append(f"{WORD_TABLE_MISSING}: it is no BASIC, or packs its words.")
    rows += _speed_rows(known.speeds)
    if known.texts:
        more = len(known.texts) - _MOST_TEXTS
        rest = f", the first {_MOST_TEXTS}" if more > 0 else ""
        rows.append(f"{plural(len(known.texts), 'readable text')}{rest}:")
        rows += [f"  {each.text}" for each in known.texts[:_MOST_TEXTS]]
    else:
        rows.append("No readable text was found.")
    return rows + _change_rows(told)


def told_sentence(image: Image) -> str:
    """Describe an image in one sentence, to be read before it is written."""
    known = read_image(image.flash)
    parts = [plural(image.used_bytes, "byte")]
    if known.words:
        parts.append(f"a BASIC of {plural(len(known.words), 'word')}")
    if len(known.bauds) == 1:
        parts.append(f"perhaps {known.bauds[0]} baud")
    texts = [each.text for each in known.texts]
    named = [text for text in texts if "basic" in text.casefold() or "board" in text.casefold()]
    longest = max(named or texts, key=len, default="")
    says = f'; it holds the text "{longest}"' if longest else ""
    return f"{image.name}: {', '.join(parts)}{says}."


def _speed_rows(speeds: tuple[SpeedSetting, ...]) -> list[str]:
    if not speeds:
        return ["No constant that sets its speed was recognised."]
    rows = []
    for speed in speeds:
        if speed.divisor is None:
            rows.append(f"Speed: perhaps {speed.baud} baud, from a number that it loads.")
            continue
        means = ", ".join(f"{baud} baud at {clock / 1e6:g} MHz" for baud, clock in speed.meanings())
        double = {True: ", at double speed", False: "", None: ", at single or double speed"}
        rows.append(
            f"Speed: divisor {speed.divisor}{double[speed.double]}: {means or 'no usual speed'}."
        )
    return rows


def _change_rows(told: ImageTold) -> list[str]:
    changes = told.changes
    if changes is None:
        return []
    rows = []
    if changes.new_words:
        rows.append(f"Words that {told.before} lacks: {', '.join(changes.new_words)}.")
    if changes.gone_words:
        rows.append(f"Words that only {told.before} has: {', '.join(changes.gone_words)}.")
    if changes.new_texts or changes.gone_texts:
        rows.append(
            f"Texts compared with {told.before}: {len(changes.new_texts):,} new, "
            f"{len(changes.gone_texts):,} gone."
        )
    return rows or [f"The same words and texts as {told.before}."]


def told_dict(told: ImageTold) -> dict[str, object]:
    """Return the JSON for what was read from an image."""
    known, changes = told.knowledge, told.changes
    return {
        "words": list(known.words),
        "word_tables": [
            {"first": table.start, "last": table.stop - 1, "form": table.form}
            for table in known.tables
        ],
        "texts": [{"address": each.at, "text": each.text} for each in known.texts],
        "speeds": [
            {
                "divisor": speed.divisor,
                "double_speed": speed.double,
                "means": [
                    {"baud": baud, "clock_hz": clock or None} for baud, clock in speed.meanings()
                ],
            }
            for speed in known.speeds
        ],
        "compared_with": told.before or None,
        "new_words": list(changes.new_words) if changes else None,
        "gone_words": list(changes.gone_words) if changes else None,
    }
