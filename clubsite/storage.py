"""Files are written whole or not at all."""

import os
import tempfile
from contextlib import suppress

from django.core.files.storage import FileSystemStorage

ARRIVING = ".arriving-"


class WholeFileStorage(FileSystemStorage):
    """Django's file storage, but a file appears under its name only when all of it is on the disk.

    A machine that loses power while a photo arrives keeps a nameless rest, never half a photo. Nothing is written
    over: as with Django's own, a name that is taken gets a suffix.
    """

    def _save(self, name, content):
        whole = self.path(name)
        folder = os.path.dirname(whole)
        os.makedirs(folder, exist_ok=True)
        handle, arriving = tempfile.mkstemp(prefix=ARRIVING, dir=folder)
        try:
            with os.fdopen(handle, "wb") as file:
                for chunk in content.chunks():
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(arriving, self.file_permissions_mode or 0o600)
            os.replace(arriving, whole)
        except BaseException:
            with suppress(FileNotFoundError):
                os.unlink(arriving)
            raise
        return name.replace("\\", "/")
