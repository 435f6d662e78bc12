"""Bring a sheet in without anybody watching: what is ambiguous is counted as asked and stays out."""

import json
from pathlib import Path

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from clubsite.constraints import rules_explained
from clubsite.history import acting
from clubsite.members.models import Member
from herds.actions.sheets import ONE_AT_A_TIME, Sheet, clean_name, keep_preview, layouts_of, write
from herds.importing.scope import ASK, MISSING, NOTES
from herds.models import BatchState, Breed, Herd, ImportBatch, RowOutcome
from herds.sheets.days import ORDERS
from herds.sheets.opening import NotASheet
from herds.sheets.weights import UNITS

NOTHING = {
    "created": 0,
    "changed": 0,
    "same": 0,
    "refused": 0,
    "asked": 0,
    "litters": 0,
    "litters_changed": 0,
    "litters_same": 0,
    "outsiders": 0,
    "rows": 0,
}


class Command(BaseCommand):
    help = (
        "Bring a CSV or XLSX sheet into a herd, or into the whole registry. Rows that are refused or asked about stay "
        "out, all others go in together or not at all. Ends with 0 when the sheet was read and its good rows went in, "
        "with 1 when nothing went in."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path)
        where = parser.add_mutually_exclusive_group(required=True)
        where.add_argument("--herd", metavar="SLUG", help="the herd that the sheet is about")
        where.add_argument("--registry", action="store_true", help="the whole registry; a column names the breeders")
        parser.add_argument("--columns", metavar="JSON", help='what columns mean: {"Ear no.": "mark", "Pen": ""}')
        parser.add_argument("--dates", choices=ORDERS, help="how days are written, when their cells do not tell")
        parser.add_argument("--weights", choices=list(UNITS), help="the unit of weights that have none")
        parser.add_argument("--weighed", metavar="DAY", help=f"the day of weights that have none, or '{NOTES}'")
        parser.add_argument("--missing-parents", choices=[ASK, *MISSING], default=ASK)
        parser.add_argument("--breed", metavar="SLUG", help="the breed, when the club has several")
        parser.add_argument("--by", metavar="EMAIL", help="who brings it; else an owner, or a registrar")
        parser.add_argument("--strict", action="store_true", help="bring nothing in when any row is refused or asked")
        parser.add_argument("--dry-run", action="store_true", help="tell what would happen, and write nothing")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *, file, json: bool, **options):
        self.as_json = json
        try:
            self._report(self._run(file, options))
        except NotASheet as why:
            self._fail(str(why))
        except ValidationError as why:
            self._fail(" ".join(why.messages))

    def _run(self, file, options):
        try:
            data = file.read_bytes()
        except OSError as why:
            raise NotASheet(f"{file} cannot be read: {why.strerror}.") from why
        herd = self._herd(options["herd"])
        by = self._by(herd, options["by"])
        settings = self._settings(options)
        with acting(member=by.pk, page="command import_sheet"), rules_explained():
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
            sheet = Sheet(data, herd=herd, by=by, settings=settings, layouts=layouts_of(by), watched=False)
            counts = sheet.counts()
            out = counts["refused"] + counts["asked"]
            wanted = any(counts[name] for name in ("created", "changed", "litters", "litters_changed"))
            told = {"imported": False, "batch": None}
            if not options["dry_run"] and wanted and not (options["strict"] and out):
                batch = ImportBatch(herd=herd, by=by, name=clean_name(file.name), bytes=len(data))
                batch.settings = {**settings, "parts": self._parts(sheet)}
                batch.file.save(batch.name, ContentFile(data), save=False)
                batch.state = BatchState.WRITING
                batch.save()
                keep_preview(batch, sheet)
                write(sheet, batch)
                told = {"imported": True, "batch": str(batch.key)}
        if options["strict"] and out:
            told["error"] = f"Nothing was brought in, because {out} rows are refused or asked about."
        return self._result(sheet, counts, options, told)

    def _result(self, sheet, counts, options, told):
        rows = sheet.plan.rows
        return {
            **counts,
            "dry_run": options["dry_run"],
            **told,
            "refused_rows": [_row(node, node.wrong) for node in rows if node.outcome == RowOutcome.REFUSED],
            "asked_rows": [_row(node, _questions(node)) for node in rows if node.outcome == RowOutcome.ASKED],
            "skipped_rows": [
                {"sheet": part.name, "row": number, "text": words}
                for part in sheet.parts
                for number, words in part.table.skipped
            ],
            "worksheets": [
                {
                    "name": part.name,
                    "used": part.used,
                    "kind": part.kind,
                    "columns": dict(zip(_headers(part), part.fields, strict=True)),
                }
                for part in sheet.parts
            ],
            "dates": sheet.answers.dates,
            "remarks": [remark for part in sheet.parts for remark in part.remarks],
        }

    @staticmethod
    def _parts(sheet):
        return {
            str(at): {"used": part.used, "kind": part.kind, "columns": part.fields}
            for at, part in enumerate(sheet.parts)
        }

    def _herd(self, slug):
        if not slug:
            return None
        herd = Herd.objects.filter(slug=slug).first()
        if herd is None:
            known = ", ".join(Herd.objects.values_list("slug", flat=True).order_by("slug")[:20])
            raise NotASheet(f"There is no herd “{slug}”. The herds are: {known or 'none yet'}.")
        return herd

    def _by(self, herd, email):
        if email:
            member = Member.objects.filter(email__iexact=email, is_active=True).first()
            if member is None:
                raise NotASheet(f"No member of the club has the e-mail address {email}.")
            return member
        if herd is None:
            return Member.objects.filter(is_registrar=True, is_active=True).order_by("pk").first()
        share = herd.ownerships.filter(until__isnull=True, member__is_active=True).order_by("since", "pk").first()
        return share.member if share else None

    def _settings(self, options):
        settings = {
            "dates": options["dates"] or "",
            "weights": options["weights"] or "",
            "weighed": options["weighed"] or "",
            "missing": options["missing_parents"],
        }
        if options["weighed"] and options["weighed"] != NOTES:
            from datetime import date

            try:
                date.fromisoformat(options["weighed"])
            except ValueError as why:
                raise NotASheet(f"{options['weighed']} is no day. Write it as 2026-05-03.") from why
        if options["columns"]:
            try:
                settings["columns"] = json.loads(options["columns"])
                if not isinstance(settings["columns"], dict):
                    raise ValueError
            except ValueError as why:
                raise NotASheet("--columns is not understood. Write a JSON object of header and field.") from why
        if options["breed"]:
            breed = Breed.objects.filter(slug=options["breed"]).first()
            if breed is None:
                known = ", ".join(Breed.objects.values_list("slug", flat=True))
                raise NotASheet(f"The club has no breed “{options['breed']}”. Its breeds are: {known}.")
            settings["breed"] = breed.pk
        return settings

    def _report(self, result):
        if self.as_json:
            self.stdout.write(json.dumps(result, ensure_ascii=False, indent=2))
        else:
            self._in_words(result)
        if error := result.get("error"):
            raise CommandError(error)

    def _in_words(self, result):
        would = " (dry run: nothing was written)" if result["dry_run"] else ""
        self.stdout.write(
            f"{result['created']} created, {result['changed']} changed, {result['same']} as they are, "
            f"{result['refused']} refused, {result['asked']} asked; {result['litters']} litters{would}."
        )
        for name in ("refused_rows", "asked_rows"):
            for row in result[name]:
                at = f"row {row['row']}" + (f" of {row['sheet']}" if row["sheet"] else "")
                self.stdout.write(f"  {at}, {row['animal']}: {row['reason']}")
        for remark in result["remarks"]:
            self.stdout.write(f"  {remark}")

    def _fail(self, said):
        if self.as_json:
            empty = {"refused_rows": [], "asked_rows": [], "skipped_rows": [], "worksheets": [], "imported": False}
            self.stdout.write(json.dumps({"error": said, **NOTHING, **empty}, ensure_ascii=False, indent=2))
        raise CommandError(said)


def _row(node, reasons):
    reason = " ".join(reasons)
    return {"sheet": node.record.sheet, "row": node.record.number, "animal": str(node), "reason": reason}


def _questions(node):
    for ask in node.asks:
        if ask.get("choices"):
            choices = "; ".join(words for _, words in ask["choices"])
            yield f"“{ask['said']}” under {ask['field']} can mean several animals: {choices}."
        elif "sentence" in ask:
            yield ask["sentence"]
        else:
            yield f"The {ask['field']} “{ask['said']}” has no row in the sheet and no card in the registry."


def _headers(part):
    """Headers that are different from each other, so that none is lost as a key."""
    seen: dict[str, int] = {}
    for at, header in enumerate(part.table.headers):
        name = header or f"column {at + 1}"
        seen[name] = seen.get(name, 0) + 1
        yield name if seen[name] == 1 else f"{name} ({seen[name]})"
