"""Long work: off the event loop, with progress that tells the truth, and a cancel that frees the worker.

Work is a function of one argument, a :class:`Progress`. It calls ``progress.step(done, total)`` at least every
quarter of a second, which also stops it where the user cancelled. One job runs per session, and the process runs
no more than :data:`MOST` at once; further ones wait and say so. What a kept job (``key``) gave is given again at once.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from typing import Any

import panel as pn
import param

from dashboard import parts
from dashboard.actions import Press
from dashboard.cache import known, remember
from dashboard.workers import can_carry, carried
from methods.errors import InputError

#: Jobs that the process runs at the same time.
MOST = 2
_slots = threading.BoundedSemaphore(MOST)


class Cancelled(Exception):
    """Raised inside the work at the step after the user cancelled."""


class Progress:
    """What work reports to. ``tell(done, total)`` is called on every step, from the worker's thread."""

    def __init__(self, tell: Callable[[float, float], None] | None = None) -> None:
        self._tell = tell
        self._stop = threading.Event()

    def cancel(self) -> None:
        """Ask the work to stop at its next step."""
        self._stop.set()

    @property
    def cancelled(self) -> bool:
        return self._stop.is_set()

    def step(self, done: float, total: float) -> None:
        """Report that ``done`` of ``total`` is finished; raises :class:`Cancelled` where the user cancelled."""
        if self._stop.is_set():
            raise Cancelled
        if self._tell is not None:
            self._tell(done, total)


def _wait_for_slot(progress: Progress) -> None:
    while not _slots.acquire(timeout=0.1):
        if progress.cancelled:
            raise Cancelled


def carry_out(work: Callable[[Progress], Any], progress: Progress, key: Hashable | None = None) -> Any:
    """Do the work in this thread, in one of the process's slots; keep the result where there is a ``key``."""
    if key is not None and known(key):
        return remember(key, lambda: None)
    _wait_for_slot(progress)
    try:
        progress.step(0, 1)
        return remember(key, lambda: work(progress)) if key is not None else work(progress)
    finally:
        _slots.release()


#: Threads that wait for the processes which read files.
_readers = ThreadPoolExecutor(4, thread_name_prefix="reading")


def aside(work: Callable[[], Any], then: Callable[[Any], None]) -> None:
    """Do ``work()`` beside the event loop and hand what it gave to ``then`` on it; without a loop, both at once.

    What can be (see :func:`dashboard.workers.can_carry`) is done in a process, the rest in a thread. Where it failed,
    ``then`` is handed the InputError.
    """

    def outcome(work: Callable[[], Any] = work) -> Any:
        try:
            return work()
        except InputError as error:
            return error

    document = pn.state.curdoc
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        document = None
    if document is None or document.session_context is None:
        then(outcome())
        return

    def carry() -> None:
        given = outcome(partial(carried, work) if can_carry(work) else work)  # type: ignore[arg-type]
        with suppress(Exception):  # the session may have gone meanwhile, and nobody waits any more
            document.add_next_tick_callback(lambda: then(given))

    _readers.submit(carry)


#: Threads that compute pages' numbers.
_pages = ThreadPoolExecutor(MOST, thread_name_prefix="pages")


def numbers(compute: Callable[[], Any]) -> Future[Any]:
    """Have a page's numbers computed off the event loop, so that other sessions do not wait.

    A partial of a function of a module is computed in a process (:mod:`dashboard.workers`), anything else in a thread.
    """
    if can_carry(compute):
        gone = _ended(pn.state.curdoc)
        started = _waiting.submit(carried, compute, gone.is_set)  # type: ignore[arg-type]
    else:
        started = _pages.submit(compute)
    _under_way.add(started)
    started.add_done_callback(_under_way.discard)
    return started


_under_way: set[Future[Any]] = set()


def computing() -> int:
    """How many pages' numbers are under way, of all sessions."""
    return len(_under_way)


#: Threads that wait for the processes that compute.
_waiting = ThreadPoolExecutor(8, thread_name_prefix="waiting")


def _ended(document: Any) -> threading.Event:
    """Set once the session of this document has ended: nobody waits for its work any more."""
    gone = threading.Event()
    if document is not None:
        document.on_session_destroyed(lambda _context: gone.set())
    return gone


class Runner(pn.viewable.Viewer):
    """A button that starts long work, its progress bar, and a button that cancels it.

    Parameters
    ----------
    label : str
        What the button says.
    prepare : callable
        Called on the event loop when the button is pressed; gives ``(work, key)``. It reads the settings, so
        that a change while the job runs does not mix two jobs. ``key`` may be None.
    done : callable
        Called on the event loop with what the work gave.
    hint : str
        One line: what the work does and about how long it takes.
    """

    running = param.Boolean(False, doc="Whether the job runs.")
    share = param.Number(0.0, bounds=(0, 1), doc="How much of it is done.")

    def __init__(
        self,
        label: str,
        prepare: Callable[[], tuple[Callable[[Progress], Any], Hashable | None]],
        done: Callable[[Any], None],
        hint: str = "",
        **params: Any,
    ) -> None:
        super().__init__(**params)
        self._prepare, self._done = prepare, done
        self._progress = Progress()
        self._start = Press(label, self.run, look="main")
        self._cancel = Press("Cancel", lambda _: self.cancel(), visible=False)
        self._bar = parts.raw(_bar(0.0), visible=False)
        self._word = parts.Text("p", "", "hint", live=True)
        self._hint = parts.hint(hint)

    def __panel__(self) -> Any:
        buttons = parts.row(self._start, self._cancel, gap=8, sizing_mode="stretch_width", styles={"flex-wrap": "wrap"})
        return parts.column(buttons, self._hint, self._bar, self._word)

    def cancel(self) -> None:
        """Stop the job at its next step."""
        self._progress.cancel()
        self._word.text = "Stopping …"

    async def run(self, _event: Any = None) -> None:
        """Carry out the job; a second press while it runs does nothing."""
        if self.running:
            return
        document, loop, begun = pn.state.curdoc, asyncio.get_running_loop(), time.monotonic()
        try:
            work, key = self._prepare()
        except InputError as error:
            self._word.text = str(error)
            return
        shown = [0.0]

        def tell(done: float, total: float) -> None:
            now = time.monotonic()
            if now - shown[0] >= 0.1 or done >= total:
                shown[0] = now
                show = partial(self._show, done, total, begun)
                if document is not None and document.session_context is not None:
                    document.add_next_tick_callback(show)  # may be called from any thread
                else:
                    loop.call_soon_threadsafe(show)

        progress = self._progress = Progress(tell)
        if document is not None:  # a job whose session ends frees its slot
            document.on_session_destroyed(lambda _context: progress.cancel())
        self._state(True, "Waiting for a free worker …")
        try:
            given = await asyncio.to_thread(carry_out, work, self._progress, key)
        except Cancelled:
            self._state(False, "Cancelled. Nothing was changed.")
        except InputError as error:
            self._state(False, str(error))
        except Exception:
            self._state(False, "The computation failed. The numbers shown before are unchanged.")
            raise
        else:
            self._state(False, f"Done in {time.monotonic() - begun:.1f} s.")
            self._done(given)

    def _show(self, done: float, total: float, begun: float) -> None:
        if not self.running or self._progress.cancelled:
            return
        self.share = min(done / total, 1.0) if total else 0.0
        self._word.text = f"{self.share:.0%} done, {time.monotonic() - begun:.0f} s."

    @param.depends("share", watch=True)
    def _draw(self) -> None:
        self._bar.object = _bar(self.share)

    def _state(self, running: bool, word: str) -> None:
        self.running = running
        self._start.disabled = running
        self._cancel.visible = self._bar.visible = running
        self.share = 0.0
        self._word.text = word


def _bar(share: float) -> str:
    return f'<progress max="100" value="{100 * share:.0f}" aria-label="Progress"></progress>'
