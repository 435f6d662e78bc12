"""Everything the registry knows of a member and their herds, as plain files in one ZIP."""

import csv
import io
import tempfile
import zipfile
from contextlib import ExitStack

from django.utils import timezone

from clubsite.spreadsheets import harmless

from .models import Club
from .places import PLACES, DataFile, in_order

IN_MEMORY = 5 * 1024 * 1024


def take_out(member):
    """An open temporary file with the ZIP: a table per kind of row, a page that explains them, and attachments."""
    with ExitStack() as on_failure:
        target = on_failure.enter_context(tempfile.SpooledTemporaryFile(max_size=IN_MEMORY))
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            lines = [f"{name}.csv: {about}" for name, about in _tables(archive, member)]
            lines += [f"{name}/: {about}" for name, about in _attachments(archive, member)]
            archive.writestr("README.txt", _explanation(lines))
        on_failure.pop_all()  # from here on the answer closes it
    target.seek(0)
    return target


def _tables(archive, member):
    for part in [PROFILE, *in_order(PLACES.files)]:
        rows = iter(part.rows(member))
        first = next(rows, None)
        if first is None:
            continue
        # The mark at the beginning tells spreadsheet programs that the letters are UTF-8.
        with (
            archive.open(f"{part.name}.csv", "w", force_zip64=True) as raw,
            io.TextIOWrapper(raw, encoding="utf-8-sig", newline="") as text,
        ):
            writer = csv.writer(text)
            writer.writerow(part.columns)
            writer.writerow(plain_row(first))
            writer.writerows(map(plain_row, rows))
        yield part.name, part.about


def _attachments(archive, member):
    for part in in_order(PLACES.attachments):
        found = False
        for path, opened in part.files(member):
            with opened, archive.open(f"{part.name}/{path}", "w", force_zip64=True) as target:
                while block := opened.read(256 * 1024):
                    target.write(block)
            found = True
        if found:
            yield part.name, part.about


def plain_row(row):
    """The row's cells as text that no spreadsheet program takes for a formula."""
    return [plain(cell) for cell in row]


def plain(cell):
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return harmless(cell) if isinstance(cell, str) else cell


def _explanation(lines):
    club = Club.current()
    invented = "This is a demonstration: the club and everything here is invented.\r\n\r\n" if club.is_demo else ""
    return (
        f"Taken out of the herd registry of {club} on {timezone.localdate():%Y-%m-%d}.\r\n\r\n{invented}"
        "The tables are CSV files in UTF-8: columns divided by commas, days as year-month-day, weights in grams.\r\n"
        "A cell that begins with = + - or @ has an apostrophe before it, so that no program reads it as a formula.\r\n"
        "\r\n" + "\r\n".join(lines) + "\r\n"
    )


def _profile(member):
    on = timezone.localdate()
    yield [
        member.name, member.email, member.region, member.get_weight_unit_display(), member.joined_at.date(),
        member.is_officer, member.is_registrar, member.is_grader(on), member.takes_reviews,
        member.guardian.name if member.guardian else "",
    ]  # fmt: skip


PROFILE = DataFile(
    name="profile",
    about="you, as the registry knows you.",
    order=0,
    columns=(
        "name",
        "e-mail",
        "region",
        "weights in",
        "joined",
        "officer",
        "registrar",
        "trained grader",
        "takes mentor requests",
        "guardian",
    ),
    rows=_profile,
)
