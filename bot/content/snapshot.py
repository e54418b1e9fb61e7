"""The content files as one value that can be stored, compared and laid out again."""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Every content file by its path below the content directory, and a name for the whole."""

    revision: str
    files: Mapping[str, str]


def snapshot(directory: Path) -> Snapshot:
    """The files of `directory` as they are now."""
    files = {
        path.relative_to(directory).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted(directory.rglob("*.yaml"))
    }
    return Snapshot(revision_of(files), files)


def revision_of(files: Mapping[str, str]) -> str:
    """A name for these files: it changes when any letter of any of them changes."""
    digest = sha256()
    for name in sorted(files):
        for part in (name, files[name]):
            digest.update(part.encode() + b"\0")
    return digest.hexdigest()[:12]


@contextmanager
def laid_out(files: Mapping[str, str]) -> Iterator[Path]:
    """The files in a folder of their own, gone at the end. Faults name them as flows/..."""
    with tempfile.TemporaryDirectory(prefix="countdown-") as folder:
        root = Path(folder) / "flows"
        for name, text in files.items():
            path = root / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        yield root


def changed_files(before: Mapping[str, str], after: Mapping[str, str]) -> tuple[str, ...]:
    """The files that differ, were added or taken out."""
    names = sorted({*before, *after})
    return tuple(name for name in names if before.get(name) != after.get(name))
