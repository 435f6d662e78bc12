"""Plain text with paragraphs, lists and links; nothing that a person types becomes HTML of its own."""

import re

from django.utils.html import escape
from django.utils.safestring import mark_safe

ADDRESS = re.compile(r"https?://[^\s<>\"']+[^\s<>\"'.,;:!?)\]]")
ITEM = re.compile(r"[-*•]\s+(.*)")


def simple_text(text):
    """Safe markup: a blank line begins a paragraph, lines that begin with - are a list, web addresses are links."""
    blocks = re.split(r"\n\s*\n", (text or "").replace("\r\n", "\n").strip())
    return mark_safe("\n".join(part for block in blocks for part in _parts(block)))  # noqa: S308 - all of it is escaped


def _parts(block):
    """The paragraphs and lists of one block."""
    lines, items = [], []
    for line in [*block.split("\n"), ""]:
        item = ITEM.fullmatch(line.strip())
        if item:
            if lines:
                yield f"<p>{'<br>'.join(lines)}</p>"
            lines, items = [], [*items, f"<li>{_linked(item[1])}</li>"]
            continue
        if items:
            yield f"<ul>{''.join(items)}</ul>"
            items = []
        if line.strip():
            lines.append(_linked(line.strip()))
    if lines:
        yield f"<p>{'<br>'.join(lines)}</p>"


def _linked(line):
    """The escaped line with its web addresses as links; only http and https are addresses."""
    out, end = [], 0
    for found in ADDRESS.finditer(line):
        url = escape(found[0])
        out += [escape(line[end : found.start()]), f'<a href="{url}" rel="nofollow noopener">{url}</a>']
        end = found.end()
    return "".join([*out, escape(line[end:])])
