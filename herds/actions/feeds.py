"""Calendar addresses: one open at a time for a member, shown once, revoked at once."""

import hashlib
import secrets

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.members.models import Member
from clubsite.members.models.invitation import hashed
from herds.models import FeedAddress, FeedWords


def make_feed_address(*, by, words=FeedWords.FULL):
    """(address, token) of a new calendar address; the earlier one stops working at the same moment."""
    if words not in FeedWords.values:
        raise ValidationError({"words": "Choose what the calendar shows."})
    token = secrets.token_urlsafe(32)
    with rules_explained():
        Member.objects.select_for_update().get(pk=by.pk)
        revoke_feed_address(by=by)
        return FeedAddress.objects.create(member=by, token_hash=hashed(token), words=words), token


def revoke_feed_address(*, by):
    """Nobody reads the member's calendar any more; True when there was an address to revoke."""
    return bool(FeedAddress.objects.open().filter(member=by.pk).update(revoked_at=timezone.now()))


def note_reading(*, feed, content):
    """Remember that the calendar was read, and since when its content is as it is. Returns that moment."""
    now = timezone.now().replace(microsecond=0)
    digest = hashlib.sha256(content).hexdigest()
    changes = {"last_read_at": now}
    if digest != feed.content_hash:
        changes |= {"content_hash": digest, "content_since": now}
    FeedAddress.objects.filter(pk=feed.pk).update(**changes)
    return changes.get("content_since", feed.content_since)
