"""The virtual printer of CUPS (``ippeveprinter``), on loopback, as a label printer.

It will not start without announcing itself, even where it is told not to: so it gets a
message bus of its own and an Avahi that sees nothing but loopback. What ``.ci/programs``
could not install is a reason to skip, which the run counts.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import gettempdir

import pytest

from tests.patience import until

PROGRAMS = ("setpriv", "ippeveprinter", "avahi-daemon", "dbus-daemon")
PATH = f"{os.environ.get('PATH', '')}:/usr/sbin"

BUS = """\
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path={folder}/bus</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_type="method_call"/>
    <allow send_type="signal"/>
    <allow send_requested_reply="true"/>
    <allow receive_type="method_call"/>
    <allow receive_type="method_return"/>
    <allow receive_type="error"/>
    <allow receive_type="signal"/>
  </policy>
</busconfig>
"""
AVAHI = """\
[server]
use-ipv6=no
allow-interfaces=lo
[wide-area]
enable-wide-area=no
[publish]
publish-hinfo=no
publish-workstation=no
"""
# A direct thermal printer of 203 dots per inch with two stocks, the larger one loaded.
LABELS = """\
ATTR mimeMediaType document-format-supported application/octet-stream,application/pdf
ATTR keyword media-default om_label_100x150mm
ATTR keyword media-ready om_label_100x150mm
ATTR keyword media-supported om_label_100x150mm,om_label_70x40mm
ATTR collection media-col-ready {
    MEMBER collection media-size {
        MEMBER integer x-dimension 10000
        MEMBER integer y-dimension 15000
    }
}
ATTR collection media-size-supported {
    MEMBER integer x-dimension 10000
    MEMBER integer y-dimension 15000
},{
    MEMBER integer x-dimension 7000
    MEMBER integer y-dimension 4000
}
ATTR text printer-make-and-model "Labels for tests"
ATTR resolution printer-resolution-default 203dpi
ATTR resolution printer-resolution-supported 203dpi
ATTR keyword print-scaling-supported auto,none
"""
# What it does with a document: it takes a while, and what the document says: it waits
# until it is told to go on, tells meanwhile that labels ran out, or fails.
PRINT = """\
#!/bin/sh
sleep 0.2
if grep -q RUNSOUT "$1"; then echo "STATE: +media-empty-error" >&2; fi
if grep -q "RUNSOUT\\|WAITS" "$1"; then
    until [ -e "$1.goes-on" ]; do sleep 0.1; done
fi
if grep -q RUNSOUT "$1"; then echo "STATE: -media-empty-error" >&2; fi
if grep -q FAILS "$1"; then exit 1; fi
"""


@dataclass(frozen=True)
class Foreign:
    """Where it listens and what it keeps."""

    port: int
    folder: Path

    @property
    def url(self) -> str:
        return f"ipp://localhost:{self.port}/ipp/print"

    @property
    def certificate(self) -> Path:
        return self.folder / "keys" / "localhost.crt"

    def goes_on(self, job_id: int) -> None:
        """Let a document that waits be printed."""
        for kept in (self.folder / "spool").glob(f"{job_id}-*.pdf"):
            kept.with_name(f"{kept.name}.goes-on").touch()

    def received(self, job_id: int) -> bytes:
        """Return the document of a job, as it was received."""
        (kept,) = (self.folder / "spool").glob(f"{job_id}-*.pdf")
        return kept.read_bytes()


@contextmanager
def foreign_printer(folder: Path) -> Iterator[Foreign]:
    """Run it, one at a time on this machine: Avahi runs once."""
    lacking = [one for one in PROGRAMS if not shutil.which(one, path=PATH)]
    if lacking:
        pytest.skip(f"not installed: {', '.join(lacking)} (see .ci/programs)")
    for name in ("spool", "keys"):
        (folder / name).mkdir()
    for name, text in (
        ("bus.conf", BUS.format(folder=folder)),
        ("avahi.conf", AVAHI),
        ("labels.conf", LABELS),
        ("print.sh", PRINT),
    ):
        (folder / name).write_text(text, "utf-8")
    (folder / "print.sh").chmod(0o755)
    with ExitStack() as running:
        lock = running.enter_context(
            (Path(gettempdir()) / f"lotward-avahi-{os.getuid()}.lock").open(
                "w", encoding="utf-8"
            )
        )
        fcntl.flock(lock, fcntl.LOCK_EX)
        environment = {**os.environ, "PATH": PATH, **_bus(folder, running)}
        port = _free_port()
        command = f"ippeveprinter -r off -n localhost -p {port} -d spool -k -K keys"
        command += f" -a labels.conf -c {folder}/print.sh"
        _start(folder, running, [*command.split(), "Labels"], environment)
        _until(lambda: _answers(port), folder / "ippeveprinter.log")
        yield Foreign(port, folder)


def _bus(folder: Path, running: ExitStack) -> dict[str, str]:
    """Start a bus and Avahi on it; use the system's where an Avahi runs already."""
    environment = {**os.environ, "PATH": PATH}
    own = {"DBUS_SYSTEM_BUS_ADDRESS": f"unix:path={folder}/bus"}
    if Path("/run/avahi-daemon/socket").exists() and _avahi_of_the_system():
        return {}
    bus = "dbus-daemon --config-file=bus.conf --nofork --nopidfile"
    _start(folder, running, bus.split(), environment)
    _until(lambda: (folder / "bus").exists(), folder / "dbus-daemon.log")
    avahi = "avahi-daemon -f avahi.conf --no-drop-root --no-chroot --no-rlimits"
    started = _start(folder, running, avahi.split(), {**environment, **own})
    log = folder / "avahi-daemon.log"
    _until(
        lambda: (
            started.poll() is not None or "startup complete" in log.read_text("utf-8")
        ),
        log,
    )
    if started.poll() is not None:
        pytest.skip(f"avahi-daemon does not run here: {log.read_text('utf-8')[-300:]}")
    return own


def _avahi_of_the_system() -> bool:
    with socket.socket(socket.AF_UNIX) as asked:
        return asked.connect_ex("/run/avahi-daemon/socket") == 0


def _start(
    folder: Path, running: ExitStack, command: list[str], environment: dict[str, str]
) -> subprocess.Popen[bytes]:
    log = running.enter_context((folder / f"{command[0]}.log").open("wb"))
    # It ends with the run, also when that is killed.
    bound = ["setpriv", "--pdeathsig", "TERM", *command]
    started = subprocess.Popen(
        bound, cwd=folder, env=environment, stdout=log, stderr=log
    )

    def end() -> None:
        started.terminate()
        try:
            started.wait(10)
        except subprocess.TimeoutExpired:
            started.kill()
            started.wait()

    running.callback(end)
    return started


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as asked:
        return int(asked.getsockname()[1])


def _answers(port: int) -> bool:
    with socket.socket() as asked:
        return asked.connect_ex(("127.0.0.1", port)) == 0


def _until(true: Callable[[], bool], log: Path) -> None:
    assert until(true), log.read_text("utf-8")
