"""Photos as files: told by their content, stripped of metadata, sized. Knows no request, no animal and no database.

A file that arrives is checked by its header alone and taken apart byte by byte (`check`); what its metadata told is
dropped before anything is stored. Files whose pixels must be touched (turned, another colour space, HEIC) wait under
a name that is never served until the job has decoded them (`decoded`, `as_original`); sized copies come from the same
job (`copies`). Originals that need none of that keep their pixels as the camera wrote them, for measuring later.
"""

from .arriving import KINDS, Checked, check, header
from .making import SIZES, as_original, copies, decoded
from .refusal import NotAPhoto

__all__ = ["KINDS", "SIZES", "Checked", "NotAPhoto", "as_original", "check", "copies", "decoded", "header"]
