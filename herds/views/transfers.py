"""Animals that go from one herd to another."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.forms import posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.actions.transfers import accept_transfer, offer_animal, refuse_transfer, withdraw_transfer
from herds.actions.withdrawals import withdrawal_words
from herds.forms.care import TransferForm
from herds.models import Animal, Herd, Transfer

A_PAGE = 40


@require_GET
def transfer_list(request):
    """What waits for an answer, then what was settled: the member's own, and all for the registrar."""
    rows = Transfer.objects.visible_to(request.user).select_related("animal", "from_herd", "to_herd", "settled_by")
    waiting = rows.filter(outcome=Transfer.Outcome.OPEN).order_by("offered_at")
    settled = rows.exclude(outcome=Transfer.Outcome.OPEN).order_by("-settled_at", "-pk")
    mine = set(Herd.objects.kept_by(request.user).values_list("pk", flat=True))
    context = {
        "waiting": [_with_sides(row, mine, request.user) for row in waiting[:200]],
        "page": Paginator(settled, A_PAGE).get_page(request.GET.get("page")),
        "mine": mine,
    }
    return page_or_part(request, "herds/transfer_list.html", "settled", context)


@require_http_methods(["GET", "POST"])
@sent_once
def transfer_create(request, pk):
    """Offer an animal to another herd of the club."""
    animal = get_object_or_404(Animal.objects.editable_by(request.user).select_related("herd"), pk=pk)
    form = TransferForm(posted(request), animal=animal, member=request.user)
    if form.is_valid():
        offered = form.carry_out(
            offer_animal, animal=animal, by=request.user, confirmed=form.confirmed, **form.cleaned_data
        )
        if offered:
            messages.success(request, _offered_words(offered))
            return go(request, "transfer-detail", offered.pk)
    context = {"form": form, "animal": animal}
    return page_or_part(request, "herds/transfer_form.html", "form", context, status=form.status)


@require_GET
def transfer_detail(request, pk):
    """One transfer, with the answers that the member may give."""
    transfer = _transfer(request, pk)
    context = {"transfer": transfer, "mine": transfer.mine, "told": told(transfer)}
    return page_or_part(request, "herds/transfer_detail.html", "transfer", context)


@require_POST
@sent_once
def transfer_answer(request, pk):
    """Accept, refuse or withdraw; the one who was slower reads what happened meanwhile."""
    transfer = _transfer(request, pk)
    answer = request.POST.get("answer")
    try:
        if answer == "accept":
            accept_transfer(transfer=transfer, by=request.user, quarantine="quarantine" in request.POST)
            messages.success(request, f"{transfer.animal} now stands in {transfer.to_herd}.")
        elif answer == "refuse":
            refuse_transfer(transfer=transfer, by=request.user)
            messages.success(request, f"Refused. {transfer.animal} stays in {transfer.from_herd}.")
        elif answer == "withdraw":
            withdraw_transfer(transfer=transfer, by=request.user)
            messages.success(request, f"Withdrawn. {transfer.animal} stays in {transfer.from_herd}.")
        else:
            messages.error(request, "Choose one of the answers.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, "transfer-detail", transfer.pk)


def told(transfer):
    """The health notes that the seller agreed to show, and the days of withdrawal in words."""
    withdrawal = withdrawal_words(transfer.withdrawal_until, transfer.no_show_until)
    return {"notes": transfer.health_notes.order_by("-on", "-pk"), "withdrawal": withdrawal}


def _transfer(request, pk):
    rows = Transfer.objects.visible_to(request.user)
    rows = rows.select_related("animal", "from_herd", "to_herd", "offered_by", "settled_by")
    mine = set(Herd.objects.kept_by(request.user).values_list("pk", flat=True))
    return _with_sides(get_object_or_404(rows, pk=pk), mine, request.user)


def _with_sides(transfer, mine, member):
    """Mark on the row which answers the member may give."""
    is_open, registrar = transfer.outcome == Transfer.Outcome.OPEN, member.is_registrar
    transfer.mine = mine
    transfer.may_accept = is_open and (transfer.to_herd_id in mine or registrar)
    transfer.may_withdraw = is_open and (transfer.from_herd_id in mine or registrar)
    transfer.was_mine = transfer.from_herd_id in mine
    return transfer


def _offered_words(transfer):
    if transfer.outcome == Transfer.Outcome.ACCEPTED:
        return f"{transfer.animal} now stands in {transfer.to_herd}."
    return f"{transfer.animal} is offered to {transfer.to_herd}. It moves when they accept."
