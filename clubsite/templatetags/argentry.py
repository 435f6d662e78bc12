"""Tags that every page may use: {% load argentry %}."""

import uuid

from django import template
from django.utils.html import format_html

register = template.Library()


@register.simple_tag
def submission_key():
    """The hidden field that lets a form be sent twice and carried out once."""
    return format_html('<input type="hidden" name="submission_key" value="{}">', uuid.uuid4())
