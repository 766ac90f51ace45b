"""Makes what a release publishes; `make release`, or `python -m host_sim.build.release`.

build/release gets three files: the wheel of the twin, the bundle of the firmware (bytecode and what
is frozen into an image, with instructions) and SHA256SUMS. The same commit gives the same bytes,
whoever builds it and when: entries are sorted, carry one fixed time (SOURCE_DATE_EPOCH, or
DEFAULT_EPOCH_S) and one mode, and the bundle is not compressed, for compressors differ.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

from host_sim import CHECKED_OUT, PACKAGE_DIR, REPO_ROOT
from host_sim.build import firmware
from host_sim.common.errors import InputError
from host_sim.common.versions import PROJECT, project_version

RELEASE_DIR = REPO_ROOT / "build" / "release"
SUMS = "SHA256SUMS"
INSTRUCTIONS = PACKAGE_DIR / "build" / "bundle.md"
EPOCH_VARIABLE = "SOURCE_DATE_EPOCH"  # reproducible-builds.org/specs/source-date-epoch
DEFAULT_EPOCH_S = 1_577_836_800  # 2020-01-01, which says: not the time of the build
ZIP_EPOCHS_S = range(315_532_800, 4_354_819_200)  # a zip file knows 1980 .. 2107
FILE_MODE = 0o100644
UNIX = 3


def epoch_s() -> int:
    """The time that all entries carry, in seconds since 1970; InputError where it cannot be one."""
    text = os.environ.get(EPOCH_VARIABLE, str(DEFAULT_EPOCH_S))
    if not re.fullmatch(r"[0-9]{1,12}", text) or int(text) not in ZIP_EPOCHS_S:
        raise InputError(f"{EPOCH_VARIABLE}: {text!r} is no whole number of seconds from "
                         f"{ZIP_EPOCHS_S.start} to {ZIP_EPOCHS_S.stop - 1}")
    return int(text)


def write_zip(target: Path, contents: dict[str, bytes], written_s: int) -> None:
    """Write files by name into a zip file whose bytes follow from the arguments alone."""
    moment = time.gmtime(written_s)[:6]
    with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as file:
        for name in sorted(contents):
            entry = zipfile.ZipInfo(name, moment)
            entry.create_system = UNIX
            entry.external_attr = FILE_MODE << 16
            file.writestr(entry, contents[name])


def bundle_contents() -> dict[str, bytes]:
    """The files of the firmware's bundle by name, in folders as the tree has them after a build.

    So firmware/manifest.py finds build/frozen from here as it does in a checkout.
    """
    with tempfile.TemporaryDirectory() as folder:
        bytecode, frozen = Path(folder, "build/firmware"), Path(folder, "build/frozen")
        package = firmware.package_json(firmware.build(bytecode))
        (bytecode / firmware.PACKAGE_JSON).write_text(package, encoding="utf-8", newline="\n")
        firmware.build_frozen(frozen)
        found = {path.relative_to(folder).as_posix(): path.read_bytes()
                 for path in Path(folder).rglob("*") if path.is_file()}
    instructions = INSTRUCTIONS.read_text(encoding="utf-8")
    found["README.md"] = instructions.replace("{version}", project_version()).encode()
    for name in ("LICENSE", "CHANGELOG.md", "firmware/manifest.py"):
        found[name] = (REPO_ROOT / name).read_bytes()
    return found


def make_bundle(directory: Path, written_s: int) -> Path:
    """Write the bundle of the firmware; returns its path."""
    top = f"{PROJECT}-{project_version()}-firmware"
    target = directory / f"{top}.zip"
    contents = {f"{top}/{name}": data for name, data in bundle_contents().items()}
    write_zip(target, contents, written_s)
    return target


def make_wheel(directory: Path, written_s: int, names: list[str]) -> Path:
    """Write the wheel from a copy of these files of the tree; returns its path.

    From a copy, for what lies in the tree and is under no version control does not belong into it.
    """
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            target = Path(folder, name)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(REPO_ROOT / name, target)
        done = subprocess.run(
            [sys.executable, "-m", "hatchling", "build", "-t", "wheel",
             "-d", str(directory.resolve())],
            cwd=folder, env=os.environ | {EPOCH_VARIABLE: str(written_s)},
            capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(done.stderr.strip())
    wheel, = directory.glob("*.whl")
    return wheel


def sums(paths: list[Path]) -> str:
    """The text that `sha256sum --check` reads."""
    return "".join(f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}\n"
                   for path in sorted(paths))


def tracked_files() -> list[str]:
    """The files under version control; InputError where one differs from what is committed."""
    if not CHECKED_OUT or not (REPO_ROOT / ".git").exists():
        raise InputError("a release is made in a git checkout: this tree has no history")
    if changed := _git("status", "--porcelain").splitlines():
        raise InputError(f"{changed[0][3:]}: is not committed (files that are not: "
                         f"{len(changed)}); a release is made of what is committed")
    return [name for name in _git("ls-files", "-z").split("\0") if name]


def _git(*words: str) -> str:
    return subprocess.run(["git", *words], cwd=REPO_ROOT, capture_output=True, check=True,
                          text=True).stdout


def citation_problem() -> str:
    """What is wrong with the version in CITATION.cff, "" where it is that of the project."""
    text = (REPO_ROOT / "CITATION.cff").read_text(encoding="utf-8")
    if re.findall(r'^version: "?([^"\n]*)"?$', text, re.MULTILINE) == [project_version()]:
        return ""
    return f"CITATION.cff: version: is not {project_version()}, as in firmware/app/version.py"


def changelog_warning() -> str:
    """What to say where CHANGELOG.md does not speak of this version, else ""."""
    text = (REPO_ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    if re.search(rf"^## {re.escape(project_version())}\b", text, re.MULTILINE):
        return ""
    return (f"warning: CHANGELOG.md has no heading '## {project_version()}': "
            "good for a rehearsal, not to be published")


def release(directory: Path = RELEASE_DIR) -> list[Path]:
    """Make everything in place of what the directory holds; returns the paths.

    Raises InputError before anything is written; a build that fails leaves what was there.
    """
    names, written_s = tracked_files(), epoch_s()
    if problem := citation_problem():
        raise InputError(problem)
    directory.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=directory.parent) as folder:
        made = Path(folder, "release")
        made.mkdir()
        paths = [make_wheel(made, written_s, names), make_bundle(made, written_s)]
        (made / SUMS).write_text(sums(paths), encoding="utf-8", newline="\n")
        if directory.exists():
            shutil.rmtree(directory)
        made.rename(directory)
    return sorted(directory.iterdir())


def main() -> int:
    """Make a release and print its checksums. Returns the exit status: 2 where it was refused."""
    argparse.ArgumentParser(
        prog="python -m host_sim.build.release",
        description="Write wheel, firmware bundle and checksums to build/release.",
        epilog="example: SOURCE_DATE_EPOCH=1577836800 make release").parse_args()
    try:
        release()
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    if warning := changelog_warning():
        print(warning, file=sys.stderr)
    print((RELEASE_DIR / SUMS).read_text(encoding="utf-8"), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
