"""A command that is killed before one of the calls that name or remove a file.

python -m tests.commands.killed COMMAND WORD…

It reads after how many such calls it is killed, a line each, and says what became of it:
each is a fork of one process that has everything loaded and nothing opened.
"""

from __future__ import annotations

import os
import signal
import sys

CHANGES = {"os.link", "os.rename", "os.remove", "os.rmdir"}


def main(*words: str) -> None:
    import django
    from django.core.management import call_command, get_commands, load_command_class

    os.environ["DJANGO_SETTINGS_MODULE"] = "lotward.settings"
    django.setup()
    from kitting.ledger.proof import schema

    load_command_class(get_commands()[words[0]], words[0])
    schema.made("sqlite")  # what each of them would work out again
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            kill_after(int(line))
            call_command(*words, stdout=sys.stderr)
            return
        _, status = os.waitpid(child, 0)
        os.write(1, f"{os.waitstatus_to_exitcode(status)}\n".encode())


def kill_after(step: int) -> None:
    left = [step]

    def kill(event: str, _of: tuple[object, ...]) -> None:
        if event in CHANGES:
            if not left[0]:
                os.kill(os.getpid(), signal.SIGKILL)
            left[0] -= 1

    sys.addaudithook(kill)


if __name__ == "__main__":
    main(*sys.argv[1:])
