"""What only some systems have, each with its fallback: the one place that asks which system this is."""

import subprocess
import sys
from typing import Any

if sys.platform != "win32":
    import os
    import signal
    from contextlib import suppress

    def process_group_flags() -> dict[str, Any]:
        """Arguments of `subprocess.Popen` that put a program into a process group of its own, so that its children can be ended with it."""
        return {"start_new_session": True}

    def end_process_group(process: "subprocess.Popen[bytes]", grace: float = 0.5) -> None:
        """Ends a program that was started with `process_group_flags`, and all its children; it has `grace` seconds to stop a motor."""
        with suppress(ProcessLookupError, PermissionError):
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGTERM)
                with suppress(subprocess.TimeoutExpired):
                    process.wait(grace)
            os.killpg(process.pid, signal.SIGKILL)

else:

    def process_group_flags() -> dict[str, Any]:
        """Arguments of `subprocess.Popen` that keep the keyboard's interrupt from a program."""
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}

    def end_process_group(process: "subprocess.Popen[bytes]", grace: float = 0.5) -> None:
        """Ends a program; its children are left to themselves, as this system has no groups that can be ended."""
        if process.poll() is None:
            process.kill()
