"""Runs a program without root's powers: `python step_down.py WAY UID GID program ...`.

PostgreSQL refuses to run as root, and containers and build machines often are root. Three ways, best first:

namespace  the program sees itself as an ordinary user while the kernel still lets it use root's own files, so
           nothing changes owner; some containers forbid it.
account    the program becomes that account for good.
searching  as `account`, and it keeps the one power to pass folders that only root may enter.

This file is a program of its own, so that nothing happens between fork and exec in a process with threads.
"""

import ctypes
import os
import sys

CLONE_NEWUSER = 0x10000000
INSIDE_ID = 1000
PR_SET_KEEPCAPS, PR_CAP_AMBIENT, PR_CAP_AMBIENT_RAISE = 8, 47, 2
CAP_DAC_OVERRIDE = 1
CAPABILITY_VERSION_3 = 0x20080522


def libc_call(name, *arguments):
    libc = ctypes.CDLL(None, use_errno=True)
    if getattr(libc, name)(*arguments) != 0:
        code = ctypes.get_errno()
        raise OSError(code, f"{name}: {os.strerror(code)}")


def enter_namespace(uid, gid):
    libc_call("unshare", CLONE_NEWUSER)
    for name, text in (
        ("setgroups", "deny"),
        ("uid_map", f"{INSIDE_ID} {uid} 1"),
        ("gid_map", f"{INSIDE_ID} {gid} 1"),
    ):
        with open(f"/proc/self/{name}", "w") as file:
            file.write(text)


def become_account(uid, gid):
    os.setgroups([])
    os.setgid(gid)
    os.setuid(uid)


def become_account_that_may_search(uid, gid):
    unsigned = ctypes.c_ulong
    libc_call("prctl", PR_SET_KEEPCAPS, unsigned(1), unsigned(0), unsigned(0), unsigned(0))
    become_account(uid, gid)
    bit = 1 << CAP_DAC_OVERRIDE
    header = (ctypes.c_uint32 * 2)(CAPABILITY_VERSION_3, 0)
    sets = (ctypes.c_uint32 * 6)(bit, bit, bit, 0, 0, 0)  # effective, permitted, inheritable; low word, high word
    libc_call("capset", header, sets)
    raise_it = (unsigned(PR_CAP_AMBIENT_RAISE), unsigned(CAP_DAC_OVERRIDE), unsigned(0), unsigned(0))
    libc_call("prctl", PR_CAP_AMBIENT, *raise_it)


WAYS = {
    "namespace": enter_namespace,
    "account": become_account,
    "searching": become_account_that_may_search,
}


def main(way, uid, gid, *command):
    WAYS[way](int(uid), int(gid))
    os.execv(command[0], command)


if __name__ == "__main__":
    main(*sys.argv[1:])
