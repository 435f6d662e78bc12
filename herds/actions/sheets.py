"""Sheets in: keep the file, preview every row, write all or nothing, take it all back."""

import hashlib
import json

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import connection, transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.importing.nodes import Node
from herds.importing.plan import make_plan
from herds.importing.progress import Progress
from herds.importing.scope import ASK, Scope
from herds.importing.sheet import parts_of, records_of, refuse_useless
from herds.importing.tables import check_references, insert
from herds.importing.writing import Meanwhile, Writer
from herds.models import BatchState, Breed, ImportBatch, ImportRow, RowOutcome, SheetLayout
from herds.sheets.columns import FIELDS
from herds.sheets.opening import NotASheet

ONE_AT_A_TIME = 730_002  # the advisory lock under which sheets go in
QUICK_ROWS = 1_500  # so many rows are worked on while the person waits
MEANWHILE = (
    "The registry changed while you looked at the preview, so nothing was brought in. Here is the preview again as it "
    "is now."
)


class Sheet:
    """A file read against the registry: its parts, its plan, and what must still be asked."""

    def __init__(self, data, *, herd, by, settings, layouts=None, watched=True, tell=lambda *step: None):
        tell("reading the file")
        self.settings = settings
        self.parts = parts_of(data, settings, layouts)
        if not watched:  # nobody is there who could say what the columns mean
            refuse_useless(self.parts)
        self.scope = Scope(
            herd=herd,
            by=by,
            breed=Breed.objects.filter(pk=settings.get("breed") or 0).first(),
            missing=settings.get("missing") or ASK,
            weighed=settings.get("weighed") or "",
            parents=settings.get("parents") or {},
            status=settings.get("status") or "",
        )
        self.records, self.answers = records_of(self.parts, settings, self.scope.today)
        tell("comparing with the registry", 0, len(self.records))
        self.plan = make_plan(self.records, self.scope)

    def counts(self):
        return self.plan.counts() | {"rows": len(self.records)}

    def digest(self):
        """The same for two plans that do the same."""
        told = hashlib.sha256()
        for node in self.plan.rows:
            known = node.existing.pk if node.existing else 0
            asked = [ask["key"] for ask in node.asks]
            told.update(json.dumps([node.place, node.outcome, known, node.changes, asked, node.wrong]).encode())
        told.update(str(len(self.plan.outsiders)).encode())
        return told.hexdigest()

    def found(self):
        """What the pages of the batch show of the file and ask about it."""
        parts = [
            {
                "name": part.name, "kind": part.kind, "columns": part.fields, "headers": part.table.headers,
                "used": part.used, "rows": len(part.table.rows), "remarks": part.remarks,
                "samples": [part.samples(at) for at in range(len(part.fields))],
                "skipped": part.table.skipped[:50], "header_rows": part.table.header_rows,
            }
            for part in self.parts
        ]  # fmt: skip
        return {"parts": parts, "asks": self.asks()}

    def asks(self):
        """The questions that are answered once for the whole sheet, with how many rows wait for each."""
        waiting: dict[str, int] = {}
        parents: dict[str, dict] = {}
        for node in self.plan.rows:
            for ask in node.asks:
                if ask.get("choices"):
                    question = parents.setdefault(ask["key"], {**ask, "rows": []})
                    question["rows"].append(node.record.number)
                else:
                    waiting[ask["key"]] = waiting.get(ask["key"], 0) + 1
        undated = sum(bool(row["weight"]) and not row["weighed"] for row in self.records)
        return {
            **waiting,
            "undated": undated,
            "several_breeds": self.scope.breed is None,
            "parents": [{**each, "rows": each["rows"][:8], "many": len(each["rows"])} for each in parents.values()][
                :200
            ],
        }


def check_may_bring(herd, by):
    """A member brings a sheet into a herd they keep; the registrar into the whole registry."""
    mine = herd.ownerships.filter(until__isnull=True).filter(member=by).exists() if herd is not None else False
    guarded = herd is not None and herd in type(herd).objects.kept_by(by)
    if not (mine or guarded or (herd is None and by.is_registrar)):
        raise ValidationError("You can bring sheets into your own herds only; the whole registry is the registrar's.")


def bring_sheet(*, by, herd, name, data):
    """Keep a file and read it; returns the batch, its preview ready for a short sheet and queued for a long one."""
    check_may_bring(herd, by)
    try:
        parts = parts_of(data, {}, layouts_of(by))
    except NotASheet as why:
        raise ValidationError({"file": str(why)}) from why
    batch = ImportBatch(herd=herd, by=by, name=clean_name(name), bytes=len(data))
    batch.settings = {"parts": _chosen(parts)}
    batch.file.save(batch.name, ContentFile(data), save=False)
    batch.save()
    _preview_now_or_later(batch, sum(len(part.table.rows) for part in parts))
    return batch


def layouts_of(member):
    """A function that finds what the member once said the columns under these headers mean."""

    def find(digest):
        layout = SheetLayout.objects.filter(member=member, headers=digest).first() if member else None
        return {"kind": layout.kind, "columns": layout.columns} if layout else None

    return find


def choose_columns(*, batch, parts, by):
    """Say what the columns mean: `parts` is {place: {used, kind, columns}}. Remembered for the next such sheet."""
    _refuse_unless_preview(batch)
    wanted = {}
    for at, found in enumerate(batch.found["parts"]):
        given = parts.get(str(at))
        if given is None:
            continue
        _check_columns(given, found)
        wanted[str(at)] = given
        headers = SheetPart(found["headers"]).digest
        SheetLayout.objects.update_or_create(
            member=by, headers=headers,
            defaults={"kind": given["kind"], "columns": given["columns"], "used_at": timezone.now()},
        )  # fmt: skip
    if not any(given["used"] for given in wanted.values()):
        raise ValidationError("Choose at least one worksheet to bring in.")
    batch.settings = {**batch.settings, "parts": wanted, "parents": {}}
    batch.save(update_fields=["settings"])
    _preview_now_or_later(batch, batch.counts.get("rows", 0))


class SheetPart:
    """The headers of a part, as far as remembering them goes."""

    def __init__(self, headers):
        from herds.sheets.columns import headers_digest

        self.digest = headers_digest(headers)


def _check_columns(given, found):
    names = FIELDS.get(given["kind"])
    if names is None or len(given["columns"]) != len(found["headers"]) or set(given["columns"]) - {"", *names}:
        raise ValidationError("The columns do not fit this sheet. Open its page again.")
    for name in ("mark", "name", "registration", "sex", "born", "weight"):
        if given["columns"].count(name) > 1:
            label = names[name]
            raise ValidationError(
                f"Two columns of “{found['name'] or 'the sheet'}” are chosen as {label}. Leave one out."
            )


def answer(*, batch, by, **answers):
    """Answer what is asked once for the sheet: dates, weights, weighed, missing, status, breed, parents."""
    _refuse_unless_preview(batch)
    batch.settings = {**batch.settings, **{name: value for name, value in answers.items() if value is not None}}
    batch.save(update_fields=["settings"])
    _preview_now_or_later(batch, batch.counts.get("rows", 0))


def _refuse_unless_preview(batch):
    if batch.state != BatchState.PREVIEW:
        raise ValidationError(f"{batch} is {batch.get_state_display()}. Open its page again.")


def _preview_now_or_later(batch, rows):
    if rows <= QUICK_ROWS:
        preview(batch)
        return
    from herds.tasks import preview_sheet

    ImportBatch.objects.filter(pk=batch.pk).update(state=BatchState.READING, told="")
    batch.refresh_from_db()
    transaction.on_commit(lambda: preview_sheet.enqueue(key=str(batch.key)))


def read_batch(batch, tell=lambda *step: None):
    """The sheet of a batch as it stands against the registry now."""
    with batch.file.open("rb") as file:
        data = file.read()
    return Sheet(data, herd=batch.herd, by=batch.by, settings=batch.settings, tell=tell)


def preview(batch, told=""):
    """Work out what becomes of every row and keep it with the batch; nothing else is written."""
    with Progress(batch, batch.counts.get("rows", 0)) as tell:
        try:
            sheet = read_batch(batch, tell)
        except (NotASheet, FileNotFoundError) as why:
            said = str(why) if isinstance(why, NotASheet) else "The file of this sheet is gone. Bring it again."
            ImportBatch.objects.filter(pk=batch.pk).update(state=BatchState.FAILED, told=said)
            batch.refresh_from_db()
            return
        tell("keeping the preview")
        keep_preview(batch, sheet, told)


@transaction.atomic
def keep_preview(batch, sheet, told=""):
    batch.rows.all().delete()
    insert(ImportRow, [_row(batch, node) for node in sheet.plan.rows])
    batch.found, batch.counts, batch.digest = sheet.found(), sheet.counts(), sheet.digest()
    batch.state, batch.told = BatchState.PREVIEW, told
    batch.save(update_fields=["found", "counts", "digest", "state", "told"])


def _row(batch, node):
    record = node.record
    words = [ask["sentence"] if "sentence" in ask else _asked(ask) for ask in node.asks]
    return {
        "batch_id": batch.pk,
        "sheet": record.sheet,
        "place": record.place,
        "number": record.number,
        "kind": record.kind,
        "outcome": str(node.outcome.value),
        "label": str(node)[:200],
        "cells": json.dumps(record.cells),
        "says": json.dumps([*node.wrong, *words, *node.remarks]),
        "changes": json.dumps([*node.changes]),
        "asks": json.dumps(node.asks),
        "animal_id": node.existing.pk if isinstance(node, Node) and node.existing else None,
    }


def _asked(ask):
    if ask.get("choices"):
        return f"“{ask['said']}” under {ask['field']} can mean {len(ask['choices'])} animals. Say which."
    return (
        f"The {ask['field']} “{ask['said']}” has no row in the sheet and no card in the registry. "
        "Say once for the sheet "
        "what becomes of such parents."
    )


def agree(*, batch, by, leave_out=False):
    """Bring the sheet in as previewed; rows that are refused or asked stay out when that is agreed to."""
    _refuse_unless_preview(batch)
    check_may_bring(batch.herd, by)
    out = batch.counts["refused"] + batch.counts["asked"]
    if out and not leave_out:
        raise ValidationError(
            "Some rows cannot go in yet. Mend them, answer what is asked, or agree to leave them out."
        )
    if not _goes_in(batch.counts):
        raise ValidationError("No row of this sheet brings anything new, so there is nothing to bring in.")
    ImportBatch.objects.filter(pk=batch.pk).update(state=BatchState.WRITING, told="")
    batch.refresh_from_db()
    if batch.counts["rows"] <= QUICK_ROWS:
        commit(batch)
        return
    from herds.tasks import write_sheet

    transaction.on_commit(lambda: write_sheet.enqueue(key=str(batch.key)))


def _goes_in(counts):
    return any(counts[name] for name in ("created", "changed", "litters", "litters_changed"))


def commit(batch):
    """Write what the preview promised, all of it or nothing. May run again after a killed worker."""
    with Progress(batch, batch.counts.get("rows", 0)) as tell:
        try:
            with rules_explained():
                _commit(batch, tell)
        except Meanwhile:
            preview(batch, MEANWHILE)
        except ValidationError as why:
            said = f"Nothing was brought in. {' '.join(why.messages)}"
            preview(batch, said)


def _commit(batch, tell):
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
    locked = ImportBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    if locked.state != BatchState.WRITING:
        return
    sheet = read_batch(locked, tell)
    if sheet.digest() != locked.digest:
        raise Meanwhile
    write(sheet, locked, tell)
    batch.refresh_from_db()


def write(sheet, batch, tell=lambda *step: None):
    """Write a sheet's plan within the caller's transaction and close the batch."""
    writer = Writer(sheet.plan, sheet.scope, batch, tell)
    writer.write()
    check_references()
    with connection.cursor() as cursor:
        _point_rows(cursor, batch, sheet.plan.nodes)
    batch.state, batch.done_at, batch.counts = BatchState.DONE, timezone.now(), sheet.counts()
    batch.told = ""
    batch.save(update_fields=["state", "done_at", "counts", "sealed", "told"])


def _point_rows(cursor, batch, nodes):
    """Let every row that went in point at its animal."""
    new = [(node.place, node.pk) for node in nodes if node.outcome == RowOutcome.CREATED]
    if new:
        cursor.execute(
            "UPDATE herds_importrow r SET animal_id = w.pk FROM unnest(%s::int[], %s::bigint[]) AS w(place, pk) "
            "WHERE r.batch_id = %s AND r.place = w.place",
            [[place for place, _ in new], [pk for _, pk in new], batch.pk],
        )


def forget_file(*, batch, by):
    """Delete the kept file; the rows with their cells stay readable, the preview cannot be worked out again."""
    if batch.state in (BatchState.READING, BatchState.WRITING):
        raise ValidationError("The sheet is being worked on. Wait until that is done.")
    batch.file.delete(save=False)
    batch.file = ""
    batch.save(update_fields=["file"])


def drop(*, batch, by):
    """Throw away a sheet that was never brought in, its file and its rows."""
    if batch.state not in (BatchState.PREVIEW, BatchState.FAILED):
        raise ValidationError("Only a sheet that was not brought in can be thrown away. Take it back first.")
    if batch.file:
        batch.file.delete(save=False)
    batch.delete()


def clean_name(name):
    return " ".join("".join(each if each.isprintable() else " " for each in name or "").split())[-200:] or "sheet"


def _chosen(parts):
    return {str(at): {"used": part.used, "kind": part.kind, "columns": part.fields} for at, part in enumerate(parts)}
