"""Today: what is due in each of the member's barns, and one touch to log it."""

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clubsite.htmx import wants_part
from clubsite.members.models import Club
from herds.actions import today as actions
from herds.calendar import State, Task, due
from herds.calendar.load import dismissed_keys, load_rows
from herds.calendar.sources import errands_of, tasks_from_above
from herds.models import Herd
from herds.words import count_words

TITLES = {State.OVERDUE: "Overdue", State.DUE: "Today", State.LATER: "This week"}


@dataclass(frozen=True)
class Line:
    """A task as the page draws it."""

    task: Task
    state: State
    due: str
    may_answer: bool
    aside: bool = False
    done: bool = False
    error: str = ""

    @property
    def answers(self):
        return self.task.answers if self.may_answer else ()

    @property
    def link_url(self):
        """The page that answers the line; before its time only when there is no quicker answer to come."""
        return self.task.link_url if self.may_answer or not self.task.answers else ""


@require_GET
def today(request):
    herds = list(Herd.objects.kept_by(request.user))
    day, club = timezone.localdate(), Club.current()
    lines = lines_of(herds, day, club)
    context = {
        "barns": [barn(herd, [line for line in lines if line.task.herd == herd.pk]) for herd in herds],
        "errands": errands_of(request.user),
        "several": len(herds) > 1,
        "day": day,
        "summary": summary([line for line in lines if not line.aside]),
    }
    return render(request, "herds/today.html", context)


def lines_of(herds, day, club):
    """The lines of these herds (a list), those put aside marked."""
    aside = dismissed_keys(herds)
    tasks = [*due(day, club, load_rows(herds, day, club)), *tasks_from_above(herds, day)]
    return [line_of(task, day, (task.herd, task.key) in aside) for task in tasks]


def line_of(task, day, aside=False):
    return Line(task, task.state(day), due_words(task, day), day >= task.window[0] or task.urgent, aside)


def due_words(task, day):
    """When a task is due, as seen from a day: '2 days over', 'Today', 'Until 5 May', 'Friday, 8 May'."""
    state = task.state(day)
    if state == State.OVERDUE:
        days = (day - (task.when if task.urgent else task.window[1])).days
        return f"{count_words(days, 'day')} over" if days else "Today"
    if state == State.DUE:
        return "Today" if day == task.window[1] else f"By {short_day(task.window[1])}"
    return "Tomorrow" if (task.when - day).days == 1 else f"{task.when:%A}, {short_day(task.when)}"


def short_day(day):
    return f"{day.day} {day:%B}"


def barn(herd, lines):
    """One herd's lines under their headings."""
    open_lines = [line for line in lines if not line.aside]
    groups = [(state, title, [line for line in open_lines if line.state == state]) for state, title in TITLES.items()]
    return {
        "herd": herd,
        "groups": [group for group in groups if group[2]],
        "aside": [line for line in lines if line.aside],
    }


def summary(lines):
    """'2 overdue, 3 today, 1 this week', or that nothing is due."""
    words = {State.OVERDUE: "overdue", State.DUE: "today", State.LATER: "this week"}
    counts = [(sum(line.state == state for line in lines), word) for state, word in words.items()]
    return ", ".join(f"{number} {word}" for number, word in counts if number) or "Nothing is due this week."


@require_POST
def today_done(request, key):
    before = _line(request, key)
    error = ""
    try:
        actions.answer_line(key=key, answer=request.POST.get("answer", ""), by=request.user)
    except ValidationError as refusal:
        error = refusal.messages[0]
    return _answer(request, key, before, done=not error, error=error, said="is in the log.")


@require_POST
def today_undo(request, key):
    _line(request, key)
    actions.undo_line(key=key, by=request.user)
    return _answer(request, key, None, said="is open again.")


@require_POST
def today_dismiss(request, key):
    before = _line(request, key)
    actions.dismiss_line(key=key, by=request.user)
    return _answer(request, key, before, aside=True, said="is put aside.")


@require_POST
def today_restore(request, key):
    _line(request, key)
    actions.restore_line(key=key, by=request.user)
    return _answer(request, key, None, said="is needed after all.")


def _line(request, key):
    """The line of a key as it stands; None when nothing is due under it. 404 when it is not the member's."""
    try:
        _, _, herd = actions.subject_of(key, request.user)
    except actions.NoSuchLine as error:
        raise Http404 from error
    lines = lines_of([herd], timezone.localdate(), Club.current())
    return next((line for line in lines if line.task.key == key), None)


def _answer(request, key, line, *, said, done=False, aside=False, error=""):
    """The same row after the press; without script, the whole list again."""
    if not wants_part(request):
        title = line.task.title if line else "The line"
        messages.error(request, error) if error else messages.success(request, f"“{title}” {said}")
        return redirect("today")
    if line is None:
        line = _line(request, key)
    if line is None:
        return render(request, "herds/today.html#gone", {"error": error})
    line = Line(line.task, line.state, line.due, line.may_answer, aside, done, error)
    return render(request, "herds/today.html#line", {"line": line}, status=422 if error else 200)
