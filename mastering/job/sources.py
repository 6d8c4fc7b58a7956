"""The files that a job names, each read once, and never from outside of the job's folder."""

import re
from pathlib import Path
from typing import Any

from formats.volumes.shared.problems import Problems

LARGEST_SOURCE = 16 << 20  # several times what the largest disc holds


class Sources:
    """Reads the sources of a job in a folder; what is wrong with them is added to `problems`."""

    def __init__(self, folder: Path, problems: Problems) -> None:
        self.folder, self.problems = folder, problems
        self._read: dict[Path, bytes] = {}

    def read(self, name: Any, where: str) -> bytes | None:
        """The bytes of a file of the job, None when there is a problem with it. A name that is no text has its problem elsewhere."""
        if not isinstance(name, str) or not name:
            return None
        if Path(name).is_absolute() or ".." in re.split(r"[/\\]", name):
            self.problems.add(where, f"{name} leads out of the job's folder; sources lie inside it")
            return None
        try:
            inside = (self.folder / name).resolve(strict=True)
            wrong = self._wrong(inside)
            if not wrong:
                if inside not in self._read:
                    self._read[inside] = inside.read_bytes()
                return self._read[inside]
            self.problems.add(where, f"{name} {wrong}")
        except FileNotFoundError:
            self.problems.add(where, f"there is no file {name} beside the job")
        except (OSError, ValueError, RuntimeError) as error:
            self.problems.add(where, f"{name} can't be read: {getattr(error, 'strerror', None) or error}")
        return None

    def _wrong(self, path: Path) -> str:
        """Why a file can't be a source; empty when it can."""
        if not path.is_relative_to(self.folder.resolve()):
            return "is a link out of the job's folder; sources lie inside it"
        if not path.is_file():
            return "is not a file"
        size = path.stat().st_size
        return f"has {size:,} bytes, a source at most {LARGEST_SOURCE:,}" if size > LARGEST_SOURCE else ""
