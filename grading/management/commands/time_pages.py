"""How long the server takes for the pages people use most, beside the bare SQL of the same pages in the same run."""

import gzip
import os
import platform
import re
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter, process_time
from urllib.parse import urlencode

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction
from django.db.models import Count, Q
from django.test import Client
from django.urls import reverse

from clubsite.members.models import Member
from grading.actions.looks import start_look
from grading.models import Look, Mode
from herds.models import PRESENT, Animal, Herd, Line, LineRule

SUBJECTS = 5  # different animals and sires, so that no single one decides
WARM = 3
STATIC = re.compile(r'(?:href|src)="(/static/[^"]+)"')
IN_CSS = re.compile(r"""url\(["']?([^"')]+)""")


@dataclass
class Timed:
    """One kind of page: its requests and its bare SQL, in seconds, by the clock and of processor time."""

    name: str
    visits: list  # functions that send one request
    queries: set = field(default_factory=set)
    whole: list = field(default_factory=list)
    work: list = field(default_factory=list)
    bare: list = field(default_factory=list)
    html: int = 0
    sent: int = 0


class Command(BaseCommand):
    help = (
        "Times the pages people use most against the registry that is there: the whole request in this process, and "
        "the same SQL alone. Best on a grown registry (grow_registry). What it begins is rolled back."
    )

    def add_arguments(self, parser):
        parser.add_argument("--rounds", type=int, default=60, help="Requests of each page (default 60).")
        parser.add_argument("--only", default="", help="Only pages whose name holds this.")

    def handle(self, *, rounds, only, **options):
        if rounds < 10:
            raise CommandError("Ask for at least 10 rounds, else the percentiles say nothing.")
        with transaction.atomic():
            pages = [page for page in chosen_pages() if only in page.name]
            for page in pages:
                time_page(page, rounds)
            transaction.set_rollback(True)
        self.tell(pages, rounds)

    def tell(self, pages, rounds):
        counts = f"{Animal.objects.count():,} animals and {Look.objects.count():,} looks"
        self.stdout.write(f"{counts}; {rounds} requests a page after {WARM}, warm, in one process; {machine()}")
        self.stdout.write("")
        self.stdout.write(
            "| page | queries | p50 ms | p95 ms | processor p50 ms | its SQL p50 ms | its SQL p95 ms | p95 to p95 "
            "| page kB as sent | with styles and scripts kB |"
        )
        self.stdout.write("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
        for page in pages:
            self.stdout.write(line_of(page))


def line_of(page):
    counts = "-".join(str(each) for each in sorted({min(page.queries), max(page.queries)}))
    p95, bare = percentile(page.whole, 0.95), percentile(page.bare, 0.95)
    cells = [
        page.name,
        counts,
        milliseconds(percentile(page.whole, 0.5)),
        milliseconds(p95),
        milliseconds(percentile(page.work, 0.5)),
        milliseconds(percentile(page.bare, 0.5)),
        milliseconds(bare),
        f"{p95 / bare:.1f}",
        f"{page.html / 1000:.0f}",
        f"{page.sent / 1000:.0f}" if page.sent else "",
    ]
    return f"| {' | '.join(cells)} |"


def milliseconds(seconds):
    return f"{seconds * 1000:.1f}"


def percentile(values, share):
    ordered = sorted(values)
    return ordered[min(int(len(ordered) * share), len(ordered) - 1)]


def machine():
    """The machine in a few words: cores, load of the last minute, versions."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version")
        database = cursor.fetchone()[0].split()[0]
    load = os.getloadavg()[0]
    return (
        f"{os.cpu_count()} cores, load {load:.1f}, Python {platform.python_version()}, PostgreSQL {database}, "
        f"{platform.machine()}."
    )


def chosen_pages():
    """The pages to time, as seen by the keeper of the fullest herd."""
    herd = Herd.objects.annotate(size=Count("animals", filter=Q(animals__status__in=PRESENT))).order_by("-size").first()
    if herd is None or not herd.size:
        raise CommandError("There is no herd with animals here. Fill the registry first, say with grow_registry.")
    keeper = Member.objects.filter(ownerships__herd=herd, ownerships__until=None).first()
    client = Client(HTTP_HOST=settings.ALLOWED_HOSTS[0], HTTP_ACCEPT_ENCODING="gzip")
    client.force_login(keeper, backend=settings.AUTHENTICATION_BACKENDS[0])
    here = Animal.objects.filter(herd=herd, status__in=PRESENT)
    animals = list(here.annotate(seen=Count("looks")).order_by("-seen", "pk")[:SUBJECTS])
    sires = list(Animal.objects.annotate(young=Count("sired")).order_by("-young", "pk")[:SUBJECTS])
    look = start_look(animal=animals[0], mode=Mode.IN_HAND, light="open_shade", by=keeper)
    middle = max(1, Animal.objects.count() // 100)

    def page(name, *addresses):
        return Timed(name, [visit(client, address) for address in addresses])

    return [
        page("animal", *(reverse("animal-detail", args=[animal.pk]) for animal in animals)),
        page("herd, with its list of animals", reverse("herd-detail", args=[herd.slug])),
        page("today", reverse("today")),
        page("look, one section", *(reverse("look-section", args=[look.pk, n]) for n in (1, 3))),
        Timed("saving one answer", [answer(client, look, step) for step in range(1, 10)]),
        page("sire, most progeny", *(reverse("sire-detail", args=[sire.pk]) for sire in sires)),
        page("sires, mine", reverse("sire-list")),
        page("sires, the whole club", reverse("sire-list") + "?scope=club"),
        page("birth years", reverse("year-list")),
        page("one birth year", reverse("year-detail", args=[sires[0].born_on.year + 1])),
        page("animals of the club", reverse("animal-list")),
        page("animals of the club, the middle", f"{reverse('animal-list')}?page={middle}"),
        page("choosing a mentor", reverse("grant-create", args=[herd.slug])),
        page("two lines, each most of the club", *compared("lines", large_lines(keeper))),
        page("four birth years", *compared("years", large_years())),
    ]


def compared(kind, keys):
    """Addresses of a comparison: like for like, and of every look."""
    address = f"{reverse('compare')}?{urlencode({'kind': kind, 'with': keys}, doseq=True)}"
    return address, f"{address}&basis=all"


def large_lines(keeper):
    """Two lines of the keeper's that hold most of the club: all that descends from the founders with most young."""
    founders = Animal.objects.filter(sire=None, dam=None)
    buck, doe = (founders.annotate(n=Count(young)).order_by("-n", "pk").first() for young in ("sired", "borne"))
    names = f"Timed {buck.pk}", f"Timed {doe.pk}"
    return [
        Line.objects.create(name=name, foundation=animal, rule=LineRule.ALL, owner=keeper).pk
        for name, animal in zip(names, (buck, doe), strict=True)
    ]


def large_years():
    """The four birth years with most animals."""
    born = Animal.objects.filter(born_on__isnull=False).order_by().values("born_on__year").annotate(n=Count("pk"))
    return sorted(row["born_on__year"] for row in born.order_by("-n", "born_on__year")[:4])


def visit(client, address):
    return lambda: client.get(address, secure=settings.BEHIND_HTTPS)


def answer(client, look, step):
    address = f"{reverse('look-answer', args=[look.pk])}?trait=surface_shade"
    return lambda: client.post(
        address, {"surface_shade": step}, headers={"hx-request": "true"}, secure=settings.BEHIND_HTTPS
    )


def time_page(page, rounds):
    """Each request, then its SQL alone, by turns, so that whatever else the machine does falls on both."""
    statements = [statements_of(page, visit_) for visit_ in page.visits]
    page.sent = 0 if page.name.startswith("saving") else sent_bytes(page)
    with connection.cursor() as cursor:
        for turn in range(-WARM, rounds):
            which = turn % len(page.visits)
            began, worked = perf_counter(), process_time()
            page.visits[which]()
            whole, work = perf_counter() - began, process_time() - worked
            began = perf_counter()
            for sql, params in statements[which]:
                cursor.execute(sql, params)
                if cursor.description:
                    cursor.fetchall()
            if turn >= 0:
                page.whole.append(whole)
                page.work.append(work)
                page.bare.append(perf_counter() - began)


# What a page notes in the cache once, such as that old figures were asked for anew, cannot be written twice.
CACHE_WRITES = ('INSERT INTO "cache"', 'UPDATE "cache"', 'DELETE FROM "cache"')


def statements_of(page, send):
    """The SQL that a warm request runs; the page must open."""
    seen: list = []

    def note(execute, sql, params, many, context):
        seen.append((sql, params))
        return execute(sql, params, many, context)

    send()
    with connection.execute_wrapper(note):
        response = send()
    if response.status_code != 200:
        raise CommandError(f"{page.name} answered {response.status_code}. Run collectstatic first, then try again.")
    page.html = max(page.html, len(response.content))
    page.queries.add(len(seen))
    return [(sql, params) for sql, params in seen if not sql.startswith(("SAVEPOINT", "RELEASE", *CACHE_WRITES))]


def text_of(response):
    """The page's text, unpacked."""
    packed = response.headers.get("Content-Encoding") == "gzip"
    return (gzip.decompress(response.content) if packed else response.content).decode()


def sent_bytes(page):
    """Bytes of the page with the site's styles, scripts, fonts and pictures, as a phone that takes gzip gets them."""
    client = Client(HTTP_HOST=settings.ALLOWED_HOSTS[0])
    todo, done, total = STATIC.findall(text_of(page.visits[0]())), set(), page.html
    while todo:
        address = todo.pop().split("#")[0]
        if address in done:
            continue
        done.add(address)
        response = client.get(address, headers={"accept-encoding": "gzip"}, secure=settings.BEHIND_HTTPS)
        body = b"".join(response.streaming_content) if response.streaming else response.content
        total += len(body)
        source = Path(settings.STATIC_ROOT, address.removeprefix("/static/"))
        if source.suffix == ".css" and source.is_file():
            todo += [f"/static/{(source.parent / name).resolve().relative_to(Path(settings.STATIC_ROOT).resolve())}"
                     for name in IN_CSS.findall(source.read_text()) if not name.startswith("data:")]  # fmt: skip
    return total
