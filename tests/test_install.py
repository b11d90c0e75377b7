"""An install takes exactly what is locked, whatever has been released since.

An index made for the tests holds two releases of every package: the locked one and the
next. The wheels are empty but for what they ask for, which is what the real packages
ask for. Only the installer is itself.
"""

from __future__ import annotations

import hashlib
import os
import re
import shlex
import shutil
import subprocess
import sys
import sysconfig
import tomllib
import zipfile
from collections.abc import Iterator
from importlib.metadata import distribution, distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.trees import ROOT

INSTALLER, RUNTIME, TOOLS = LOCKS = (
    "requirements-installer.txt",
    "requirements.txt",
    "requirements-dev.txt",
)
FILE = tomllib.loads((ROOT / "pyproject.toml").read_text())
DIRECT = FILE["project"]["dependencies"]
GROUPS = FILE["dependency-groups"]
NAMED = {
    INSTALLER: GROUPS["installer"],
    RUNTIME: DIRECT,
    TOOLS: [*DIRECT, *GROUPS["test"], *GROUPS["typing"], *GROUPS["lint"]],
}
MADE_BY_VENV = {"pip", "setuptools"}


def locked(lock: str) -> list[Requirement]:
    lines = (ROOT / lock).read_text().splitlines()
    return [Requirement(line.rstrip(" \\")) for line in lines if line[0] != " "]


def version(one: Requirement) -> str:
    (pin,) = one.specifier
    assert pin.operator == "=="
    return pin.version


def is_for_here(one: Requirement, *extras: str) -> bool:
    return one.marker is None or any(
        one.marker.evaluate({"extra": extra}) for extra in ("", *extras)
    )


def taken(*locks: str) -> dict[str, str]:
    """Give the name and version of each locked package that is for this machine."""
    lines = [one for lock in locks for one in locked(lock)]
    return {one.name: version(one) for one in lines if is_for_here(one)}


def asked(lock: str) -> Iterator[Requirement]:
    """Yield what the project and each of its locked packages ask for on this machine."""
    yield from map(Requirement, NAMED[lock])
    for one in filter(is_for_here, locked(lock)):
        for wanted in map(Requirement, distribution(one.name).requires or ()):
            if is_for_here(wanted, *one.extras):
                yield wanted


def following(number: str) -> str:
    return re.sub(r"\d+$", lambda last: str(int(last[0]) + 1), number)


def offer(
    index: Path, name: str, number: str, *, lines: str, files: dict[str, bytes]
) -> str:
    """Put a wheel into an index, and give its hash."""
    label = f"{name.replace('-', '_')}-{number}"
    path = index / name / f"{label}-py3-none-any.whl"
    about = f"Metadata-Version: 2.1\nName: {name}\nVersion: {number}\n{lines}"
    kind = "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    files = {
        **files,
        f"{label}.dist-info/METADATA": about.encode(),
        f"{label}.dist-info/WHEEL": kind.encode(),
    }
    record = "".join(f"{file},,\n" for file in [*files, f"{label}.dist-info/RECORD"])
    with zipfile.ZipFile(path, "w") as wheel:
        for file, content in {**files, f"{label}.dist-info/RECORD": record}.items():
            entry = zipfile.ZipInfo(file)
            entry.external_attr = 0o100755 << 16  # The installer is a program.
            wheel.writestr(entry, content)
    with (path.parent / "index.html").open("a") as page:
        page.write(f'<a href="{path.name}">{path.name}</a>\n')
    return hashlib.sha256(path.read_bytes()).hexdigest()


def offer_both(index: Path, one: Requirement) -> str:
    """Offer the locked release and the next one, and give the locked one's hash."""
    (index / one.name).mkdir(parents=True, exist_ok=True)
    lines, files = "", {}
    if is_for_here(one):
        about = distribution(one.name).metadata
        for field in ("Requires-Dist", "Provides-Extra"):
            lines += "".join(f"{field}: {text}\n" for text in about.get_all(field, ()))
    if one.name == "uv":
        program = Path(sysconfig.get_path("scripts"), "uv")
        files[f"uv-{version(one)}.data/scripts/uv"] = program.read_bytes()
    offer(index, one.name, following(version(one)), lines=lines, files={})
    return offer(index, one.name, version(one), lines=lines, files=files)


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What ``make`` needs to install, beside an index that has newer releases."""
    folder = tmp_path_factory.mktemp("clone")
    shutil.copy(ROOT / "Makefile", folder)
    hashes: dict[str, str] = {}
    for lock in LOCKS:
        text = ""
        for one in locked(lock):
            if one.name not in hashes:
                hashes[one.name] = offer_both(folder / "index", one)
            text += f"{one} --hash=sha256:{hashes[one.name]}\n"
        (folder / lock).write_text(text)
    return folder


def interpreter(clone: Path) -> Path:
    """A Python that gives an environment a copy of the tests' own pip.

    Itself it unpacks and compiles one, in as much time as all else here takes. Whatever
    else it is asked for is done by itself.
    """
    site, python = Path(sysconfig.get_path("purelib")), shlex.quote(sys.executable)
    pip = shlex.join(map(str, [site / "pip", *site.glob("pip-*.dist-info")]))
    into = f".venv/lib/python{sysconfig.get_python_version()}/site-packages"
    program = clone / "python"
    program.write_text(
        "#!/bin/sh -e\n"
        'if [ "$*" = "-m venv .venv" ]; then\n'
        f"    {python} -m venv --without-pip .venv\n"
        f"    exec cp -a {pip} {into}\n"
        "fi\n"
        f'exec {python} "$@"\n'
    )
    program.chmod(0o755)
    return program


def run(clone: Path, *command: str) -> str:
    """Run a command that knows no index but the clone's, and no other set-up."""
    others = ("PIP_", "UV_", "MAKE", "MFLAGS", "VIRTUAL_ENV")
    env = {
        name: value for name, value in os.environ.items() if not name.startswith(others)
    }
    env |= {
        "PIP_CONFIG_FILE": os.devnull,
        "PIP_INDEX_URL": (clone / "index").as_uri(),
        "PIP_NO_CACHE_DIR": "on",
        "UV_CACHE_DIR": str(clone / "cache"),
        "UV_NO_CONFIG": "on",
    }
    done = subprocess.run(
        command, cwd=clone, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def installed(clone: Path) -> dict[str, str]:
    (packages,) = clone.glob(".venv/lib/python3*/site-packages")
    found = distributions(path=[str(packages)])
    versions = {canonicalize_name(one.name): one.version for one in found}
    return {
        name: number for name, number in versions.items() if name not in MADE_BY_VENV
    }


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_pins_all_that_is_asked_for_with_the_extras(lock: str) -> None:
    pinned = {one.name: one for one in locked(lock)}
    for wanted in asked(lock):
        one = pinned[canonicalize_name(wanted.name)]
        assert wanted.specifier.contains(version(one), prereleases=True), wanted
        assert wanted.extras <= one.extras, wanted


def test_the_tests_run_on_what_is_locked() -> None:
    versions = taken(*LOCKS)
    assert {name: distribution(name).version for name in versions} == versions


def test_an_install_takes_exactly_what_is_locked(clone: Path) -> None:
    run(clone, "make", "setup", f"PYTHON={interpreter(clone)}")
    assert installed(clone) == taken(INSTALLER, RUNTIME)
    run(clone, "make", "tools")
    assert installed(clone) == taken(*LOCKS)


def test_the_same_index_gives_the_newer_releases_to_whoever_asks_by_name(
    clone: Path,
) -> None:
    """The control: without the locks none of what is locked would be taken."""
    names = clone / "names.txt"
    names.write_text("\n".join(taken(TOOLS)))
    uv = Path(sysconfig.get_path("scripts"), "uv")
    index = ("--default-index", (clone / "index").as_uri())
    given = run(
        clone,
        str(uv),
        "pip",
        "compile",
        "--quiet",
        "--no-header",
        "--no-deps",
        "--no-annotate",
        *index,
        str(names),
    )
    assert dict(line.split("==") for line in given.splitlines()) == {
        name: following(number) for name, number in taken(TOOLS).items()
    }
