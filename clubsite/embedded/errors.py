"""What can go wrong before the site runs, said in one sentence each."""

import errno


class SetupError(Exception):
    """Why the site cannot run here and what to do about it, as one sentence for a person."""


def disk_sentence(error, folder):
    """The SetupError for an OSError met while writing below `folder`."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return SetupError(f"The disk that holds {folder} is full. Free some space, then run the same command again.")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return SetupError(
            f"Your account may not write to {error.filename or folder}. Give it the right to do so, "
            "or set ARGENTRY_VAR to a folder of your own."
        )
    return SetupError(f"The data folder {folder} cannot be used: {error.strerror or error}.")
