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
