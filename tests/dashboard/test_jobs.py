"""Long work: progress that tells the truth, a cancel that frees the worker, and a page that stays usable."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from dashboard import jobs
from dashboard.cache import forget
from dashboard.jobs import Cancelled, Progress, Runner, carry_out
from methods.errors import InputError


class Work:
    """Work that waits at every step until the test lets it go on."""

    def __init__(self, steps: int = 4) -> None:
        self.steps, self.calls, self.done = steps, 0, 0
        self.go, self.at = threading.Semaphore(0), threading.Semaphore(0)

    def __call__(self, progress: Progress) -> str:
        self.calls += 1
        for i in range(self.steps):
            self.at.release()
            assert self.go.acquire(timeout=20)
            progress.step(i + 1, self.steps)
            self.done = i + 1
        return "result"


async def until(condition: Callable[[], bool]) -> None:
    """Give the loop its turns until the condition holds."""
    for _ in range(2000):
        if condition():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("the condition never held")


async def reached(work: Work) -> None:
    """Wait until the work stands before its next step, without holding the loop."""
    assert await asyncio.to_thread(work.at.acquire, True, 20)


def runner(work: Any, key: Any = None) -> tuple[Runner, list[Any]]:
    given: list[Any] = []
    return Runner("Run", lambda: (work, key), given.append), given


def test_progress_is_what_the_work_reported() -> None:
    async def scene() -> None:
        work = Work(4)
        made, given = runner(work)
        task = asyncio.create_task(made.run())
        for done in (1, 2, 3):
            await reached(work)
            assert made.share <= 0.25 * (done - 1) or done == 1
            await asyncio.sleep(0.12)  # steps that follow sooner are not all told
            work.go.release()
            await until(lambda done=done: made.share == 0.25 * done)
            assert f"{25 * done}%" in made._word.text and made._bar.visible and made._cancel.visible
            assert f'value="{25 * done}"' in made._bar.object
        await reached(work)
        work.go.release()
        await task
        assert given == ["result"] and not made.running
        assert "Done" in made._word.text and not made._bar.visible and not made._cancel.visible

    asyncio.run(scene())


def test_a_second_press_while_it_runs_does_nothing() -> None:
    async def scene() -> None:
        work = Work(1)
        made, given = runner(work)
        task = asyncio.create_task(made.run())
        await reached(work)
        assert made._start.disabled
        await made.run()
        work.go.release()
        await task
        assert work.calls == 1 and given == ["result"]

    asyncio.run(scene())


def test_a_cancel_stops_at_the_next_step_and_frees_the_worker() -> None:
    async def scene() -> None:
        work = Work(100)
        made, given = runner(work)
        task = asyncio.create_task(made.run())
        await reached(work)
        made.cancel()
        work.go.release()
        await task
        assert work.done == 0 and given == [] and not made.running
        assert "Cancelled" in made._word.text and not made._start.disabled
        # every slot of the process is free again
        assert all(jobs._slots.acquire(blocking=False) for _ in range(jobs.MOST))
        for _ in range(jobs.MOST):
            jobs._slots.release()
        again = asyncio.create_task(made.run())
        await reached(work)
        made.cancel()
        work.go.release()
        await again

    asyncio.run(scene())


def test_a_job_that_waits_for_a_slot_can_be_cancelled_too() -> None:
    async def scene() -> None:
        for _ in range(jobs.MOST):
            assert jobs._slots.acquire(blocking=False)
        try:
            work = Work(1)
            made, given = runner(work)
            task = asyncio.create_task(made.run())
            await asyncio.sleep(0.05)
            assert "Waiting" in made._word.text
            made.cancel()
            await asyncio.wait_for(task, 20)
            assert work.calls == 0 and given == []
        finally:
            for _ in range(jobs.MOST):
                jobs._slots.release()

    asyncio.run(scene())


def test_the_loop_turns_while_the_work_computes() -> None:
    """What another session asks for is answered while the job stands in the middle of a step."""

    async def scene() -> None:
        work = Work(1)
        made, _ = runner(work)
        task = asyncio.create_task(made.run())
        await reached(work)

        async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(await reader.readline())
            await writer.drain()
            writer.close()

        server = await asyncio.start_server(answer, "127.0.0.1", 0)
        reader, writer = await asyncio.open_connection(*server.sockets[0].getsockname()[:2])
        writer.write(b"still there?\n")
        assert await asyncio.wait_for(reader.readline(), 20) == b"still there?\n"
        assert made.running and work.done == 0
        writer.close()
        server.close()
        work.go.release()
        await task

    asyncio.run(scene())


def test_another_session_is_served_during_a_long_job() -> None:
    """The same over the real server: its loop gives a page while a job of it computes."""
    import urllib.request

    import panel as pn

    started, release = threading.Event(), threading.Event()

    def work(progress: Progress) -> None:
        started.set()
        assert release.wait(30)

    made, given = runner(work)
    server = pn.serve({"/": lambda: pn.pane.HTML("<p>hello</p>")}, port=0, threaded=False, start=False, show=False)
    got: list[int] = []

    def visit() -> None:
        try:
            assert started.wait(30)
            with urllib.request.urlopen(f"http://localhost:{server.port}/", timeout=30) as answer:
                got.append(answer.status)
            got.append(int(made.running))
        finally:
            release.set()

    async def scene() -> None:
        visitor = threading.Thread(target=visit)
        visitor.start()
        await made.run()
        await asyncio.to_thread(visitor.join)
        server.io_loop.add_callback(server.io_loop.stop)

    server.start()
    server.io_loop.add_callback(scene)
    server.io_loop.start()
    server.stop()
    assert got == [200, 1] and given == [None]


@pytest.mark.parametrize(
    ("error", "said"),
    [(InputError("Row 4 holds no voltage."), "Row 4"), (ZeroDivisionError("x"), "The computation failed")],
)
def test_an_error_is_shown_and_the_runner_can_run_again(error: Exception, said: str) -> None:
    async def scene() -> None:
        def work(_: Progress) -> None:
            raise error

        made, given = runner(work)
        if isinstance(error, InputError):
            await made.run()
        else:
            with pytest.raises(ZeroDivisionError):
                await made.run()
        assert said in made._word.text and not made.running and not made._start.disabled and given == []

    asyncio.run(scene())


def test_settings_that_cannot_be_are_told_without_a_job() -> None:
    async def scene() -> None:
        def prepare() -> Any:
            raise InputError("Give a limit first.")

        made = Runner("Run", prepare, lambda _: None)
        await made.run()
        assert made._word.text == "Give a limit first." and not made.running

    asyncio.run(scene())


def test_a_result_is_kept_by_its_key() -> None:
    forget()
    calls: list[int] = []

    def work(progress: Progress) -> int:
        calls.append(1)
        progress.step(1, 1)
        return 7

    for _ in range(2):
        assert carry_out(work, Progress(), ("jobs", "a")) == 7
    assert carry_out(work, Progress(), ("jobs", "b")) == 7
    assert carry_out(work, Progress()) == 7
    assert len(calls) == 3
    forget()


def test_a_cancelled_job_is_not_kept() -> None:
    forget()

    def work(progress: Progress) -> int:
        progress.cancel()
        progress.step(1, 2)
        return 1

    with pytest.raises(Cancelled):
        carry_out(work, Progress(), ("jobs", "cancelled"))
    assert carry_out(lambda _: 2, Progress(), ("jobs", "cancelled")) == 2
    forget()


def test_a_job_whose_session_ends_lets_its_slot_go() -> None:
    from bokeh.document import Document
    from panel.io.state import set_curdoc

    async def scene() -> None:
        document, work = Document(), Work(50)
        with set_curdoc(document):
            made, given = runner(work)
            task = asyncio.create_task(made.run())
            await reached(work)
        for ended in document.session_destroyed_callbacks:
            ended(None)  # type: ignore[arg-type]
        work.go.release()
        await asyncio.wait_for(task, 20)
        assert given == [] and work.done == 0

    asyncio.run(scene())
    assert all(jobs._slots.acquire(blocking=False) for _ in range(jobs.MOST))
    for _ in range(jobs.MOST):
        jobs._slots.release()


def test_a_page_s_numbers_that_no_session_waits_for_end_their_process() -> None:
    from bokeh.document import Document
    from panel.io.state import set_curdoc

    from dashboard.workers import Lost
    from tests.dashboard.test_workers import last

    document = Document()
    with set_curdoc(document):
        waiting = jobs.numbers(partial(last, 300))
    for ended in document.session_destroyed_callbacks:
        ended(None)  # type: ignore[arg-type]
    with pytest.raises(Lost, match="Cancelled"):
        waiting.result(60)
