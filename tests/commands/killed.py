"""A command that is killed before one of the calls that name or remove a file.

python -m tests.commands.killed STEP COMMAND WORD…
"""

from __future__ import annotations

import os
import signal
import sys

CHANGES = {"os.link", "os.rename", "os.remove", "os.rmdir"}


def main(step: int, *words: str) -> None:
    import django
    from django.core.management import call_command

    os.environ["DJANGO_SETTINGS_MODULE"] = "lotward.settings"
    django.setup()
    left = [step]

    def kill(event: str, _of: tuple[object, ...]) -> None:
        if event in CHANGES:
            if not left[0]:
                os.kill(os.getpid(), signal.SIGKILL)
            left[0] -= 1

    sys.addaudithook(kill)
    call_command(*words)


if __name__ == "__main__":
    main(int(sys.argv[1]), *sys.argv[2:])
