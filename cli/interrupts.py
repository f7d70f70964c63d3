"""Ctrl-C that is heard while a kernel computes.

Python itself hears of an interrupt only between two of its own steps, and a pool of threads waits
for what its threads have begun; a long lap or a long chain of the survey would keep the person
waiting for it.  A thread beside the work hears of it at once.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable
from types import TracebackType

GRACE = 0.4
"""Time the work gets to stop by itself, which clears its progress line and keeps its draft [s]."""


class Interrupts:
    """In a ``with`` statement: an interrupt ends the process soon, whatever it is doing.

    Files are written whole or not at all even by a process that is killed, so nothing has to be
    put in order first.

    Parameters
    ----------
    say : says that it was interrupted
    code : exit code then
    """

    def __init__(self, say: Callable[[], None], code: int) -> None:
        self._say, self._code = say, code
        self._told = threading.Lock()
        self._over = threading.Event()
        self._ends: tuple[int, int] | None = None
        self._before = -1

    def tell(self) -> None:
        """Say it, once."""
        if self._told.acquire(blocking=False):
            self._say()

    def __enter__(self) -> Interrupts:
        if os.name != "posix" or threading.current_thread() is not threading.main_thread():
            return self
        read, write = os.pipe()
        os.set_blocking(write, False)
        self._ends = read, write
        self._before = signal.set_wakeup_fd(write, warn_on_full_buffer=False)
        threading.Thread(target=self._listen, args=(read,), daemon=True).start()
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._over.set()
        if self._ends is not None:
            signal.set_wakeup_fd(self._before, warn_on_full_buffer=False)
            # The listener reads the end of the pipe, and closes its own side of it.
            os.close(self._ends[1])

    def _listen(self, read: int) -> None:
        try:
            while signal.SIGINT not in (heard := os.read(read, 64)):
                if not heard:
                    return
            # The default handler raises KeyboardInterrupt, which is the better way out where it
            # comes in time; a process told to ignore interrupts goes on.
            if signal.getsignal(signal.SIGINT) is signal.SIG_IGN or self._over.wait(GRACE):
                return
            self.tell()
            os._exit(self._code)
        finally:
            os.close(read)
