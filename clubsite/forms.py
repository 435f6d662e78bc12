"""Forms parse, actions decide: what an action refuses is said by the field it is about."""

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError


def refuse(form, error):
    """Put a ValidationError's sentences by the form's fields; what fits no field goes to the top."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, errors in error.error_dict.items():
        form.add_error(name if name in form.fields else None, errors if name != NON_FIELD_ERRORS else list(errors))


def carried_out(form, action, **given):
    """What `action` returned, or None after its refusal was put on the form. The action must not return None."""
    try:
        return action(**given)
    except ValidationError as error:
        refuse(form, error)
        return None


def posted(request):
    """What a form takes as its data: the values sent, also when there are none, and None while it is only shown."""
    return request.POST if request.method == "POST" else None


def differing(form, row):
    """(label, saved value in words) of every field that is saved otherwise than it was typed, for a stale page."""
    fields = [name for name in form.cleaned_data if name != "version"]
    saved = {name: getattr(row, name) for name in fields}
    return [(form.fields[name].label, _said(row, name)) for name in fields if saved[name] != form.cleaned_data[name]]


def _said(row, name):
    value = getattr(row, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(str, value))
    shown = getattr(row, f"get_{name}_display", lambda: value)()
    return "empty" if shown in ("", None) else str(shown)
