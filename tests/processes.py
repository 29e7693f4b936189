"""Programs that tests start: one that fails its test must not be waited for."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from typing import AnyStr


@contextmanager
def killed_at_the_end(process: subprocess.Popen[AnyStr]) -> Iterator[subprocess.Popen[AnyStr]]:
    """Lend a process and kill it if it still runs when the test has done with it, however that ended.

    `with Popen(...)` would wait for its end instead: a watcher nobody tells to end keeps a failed test waiting for
    ever, and nobody hears what failed.
    """
    with process:
        try:
            yield process
        finally:
            process.kill()
