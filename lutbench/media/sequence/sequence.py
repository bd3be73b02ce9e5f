"""Sequences of stills: several frames at a time, resumable, and no frame half-written.

Each of `jobs` threads reads a frame, puts it through the LUT and writes it, so that one can
compute while another waits for the disk. The memory needed is that of `jobs` frames, whatever
the length of the sequence.

A record in the output folder identifies how the frames are made. A run that was interrupted
continues where it stopped when it is started again with the same settings; a run with another
LUT is refused, so that frames are not mixed.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lutbench.errors import LutbenchError
from lutbench.files import (
    STEM_CHARACTERS,
    TEMPORARY_NAME,
    make_folder,
    removed_after,
    unwritable,
    write_text,
)
from lutbench.media.sequence.frames import FrameList, SequenceFrame
from lutbench.media.treatment import FramesOutcome, Treatment, render_still

fcntl: Any
try:
    # Loaded here: where a lock is taken there may be no descriptor left to load it with.
    import fcntl
except ImportError:  # no such lock on this system
    fcntl = None

RECORD_SCHEMA = 1


@dataclass(frozen=True)
class SequenceRun:
    """How the frames of a sequence are processed.

    Parameters
    ----------
    jobs
        Number of frames rendered at the same time; None for the number of usable cores.
    force
        Render all frames again, and replace existing ones.
    scheduler
        The address of a Dask scheduler whose workers are used instead of threads.
    """

    jobs: int | None = None
    force: bool = False
    scheduler: str | None = None


# Called after each frame with the outcome so far.
Watcher = Callable[[FramesOutcome], None]


def render_frame(frame: SequenceFrame, treatment: Treatment, replace: bool = False) -> list[str]:
    """Render one frame; returns the notes of the writer."""
    return render_still(frame.source, frame.target, treatment, replace=replace)


def run_sequence(
    frames: FrameList,
    treatment: Treatment,
    fingerprint: str,
    run: SequenceRun = SequenceRun(),
    *,
    watch: Watcher | None = None,
) -> FramesOutcome:
    """Render all frames; those that an earlier run finished are skipped.

    Parameters
    ----------
    fingerprint
        Identifies the treatment; only a run with the same one is continued.
    run
        How the frames are processed.

    Raises
    ------
    LutbenchError
        When there are frames of another treatment, or another run is writing them. A frame
        that fails does not raise; it is listed.
    """
    make_folder(frames.target)
    outcome = FramesOutcome(len(frames.frames))
    with _locked_record(frames) as record:
        begun, may_replace = _begin(record, frames, fingerprint, run.force)
        _remove_leftovers(frames)
        todo: list[tuple[SequenceFrame, bool]] = []
        for frame in frames.frames:
            made = _made_at(frame.target)
            if made is not None and made >= begun:
                outcome.skipped += 1
            else:
                todo.append((frame, may_replace))
        if watch is not None:
            watch(outcome)
        if run.scheduler is not None:
            _run_remote(todo, treatment, run.scheduler, outcome, watch)
            _remove_leftovers(frames)  # of workers that died
        else:
            _run_threads(todo, treatment, run.jobs, outcome, watch)
    order = {frame: index for index, frame in enumerate(frames.frames)}
    outcome.failed.sort(key=lambda pair: order[pair[0]])
    return outcome


def _run_threads(
    todo: list[tuple[SequenceFrame, bool]],
    treatment: Treatment,
    jobs: int | None,
    outcome: FramesOutcome,
    watch: Watcher | None,
) -> None:
    from lutbench.long_work import thread_limit

    count = thread_limit() if jobs is None else jobs
    if not todo:
        return
    waiting = iter(todo)
    running: dict[Future[list[str]], SequenceFrame] = {}
    with _quiet_library(count), ThreadPoolExecutor(count, "frame") as pool:
        try:
            while True:
                # A frame is submitted only when a thread is free, so that an interruption
                # waits for the frames in progress only.
                for frame, replace in waiting:
                    running[pool.submit(render_frame, frame, treatment, replace)] = frame
                    if len(running) >= count:
                        break
                if not running:
                    return
                ended, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in ended:
                    _note(outcome, running.pop(future), future)
                    if watch is not None:
                        watch(outcome)
        finally:
            for future in running:
                future.cancel()


def _note(outcome: FramesOutcome, frame: SequenceFrame, future: Future[list[str]]) -> None:
    error = future.exception()
    if error is None:
        outcome.written += 1
        for text in future.result():
            outcome.notes[text] = outcome.notes.get(text, 0) + 1
    elif isinstance(error, LutbenchError):
        outcome.failed.append((frame, str(error)))
    elif isinstance(error, OSError | MemoryError):
        reason = getattr(error, "strerror", None) or str(error) or "not enough memory"
        outcome.failed.append((frame, f"{frame.source}: {reason}"))
    else:
        raise error


def _run_remote(
    todo: list[tuple[SequenceFrame, bool]],
    treatment: Treatment,
    scheduler: str,
    outcome: FramesOutcome,
    watch: Watcher | None,
) -> None:
    from lutbench.cluster import Done, run_on_cluster

    def note(done: Done[tuple[SequenceFrame, bool], list[str]]) -> None:
        if done.error:
            outcome.failed.append((done.item[0], done.error))
        else:
            outcome.written += 1
            for text in done.value or []:
                outcome.notes[text] = outcome.notes.get(text, 0) + 1
        if watch is not None:
            watch(outcome)

    items = [
        (SequenceFrame(frame.source.absolute(), frame.target.absolute()), replace)
        for frame, replace in todo
    ]
    before = {item[0]: pair[0] for item, pair in zip(items, todo, strict=True)}
    run_on_cluster(render_remote_frame, items, scheduler, shared=treatment, on_done=note)
    outcome.failed = [(before.get(frame, frame), text) for frame, text in outcome.failed]


def render_remote_frame(item: tuple[SequenceFrame, bool], treatment: Treatment) -> list[str]:
    """`render_frame` in a worker.

    The frame replaces an existing file: when a worker dies after the rename, before its result
    arrives, another worker renders the same frame again.
    """
    frame, _ = item
    with _quiet_library(2):
        return render_frame(frame, treatment, replace=True)


@contextmanager
def _quiet_library(jobs: int) -> Iterator[None]:
    """Turn off the image library's own threads while several frames are rendered."""
    import OpenImageIO as oiio

    before = oiio.get_int_attribute("threads"), oiio.get_int_attribute("exr_threads")
    if jobs > 1:
        oiio.attribute("threads", 1)
        oiio.attribute("exr_threads", -1)
    try:
        yield
    finally:
        if jobs > 1:
            oiio.attribute("threads", before[0])
            oiio.attribute("exr_threads", before[1])


# --- the record --------------------------------------------------------------------------------


def record_path(frames: FrameList) -> Path:
    """The hidden file beside the frames that identifies how they are made."""
    return frames.target / f".{frames.name}.lutbench.json"


@contextmanager
def _locked_record(frames: FrameList) -> Iterator[Path]:
    """The record, locked by this run.

    The lock is the system's lock on an open file, which is released however the process ends.
    It is on a separate file, since the record itself is replaced.
    """
    path = record_path(frames)
    lock = path.with_suffix(".lock")
    while True:
        try:
            handle = open(lock, "ab")  # noqa: SIM115 -- closed below, with the lock
        except OSError as error:
            raise unwritable(lock, error) from error
        with handle:
            if not _lock(handle.fileno()):
                raise LutbenchError(
                    "another run is writing these frames",
                    where=frames.target,
                    accepted="one at a time",
                )
            # Another run may have removed the file after it was opened here; then the lock
            # would not keep others out.
            if not _same_file(handle.fileno(), lock):
                continue
            with removed_after(lock):
                yield path
            return


def _same_file(descriptor: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(descriptor), path.stat())
    except OSError:
        return False


def _lock(descriptor: int) -> bool:
    if fcntl is None:  # the user has to avoid two runs at a time
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a file system without locks
        return True
    return True


def _begin(record: Path, frames: FrameList, fingerprint: str, force: bool) -> tuple[int, bool]:
    """The time from which a frame counts as finished, and whether frames are replaced.

    The time is 0 where there was no frame when the work began. With `force` it is when the work
    began, by the clock of the file system: older frames must be rendered again, also after an
    interruption.
    """
    known = _read_record(record)
    there = [frame for frame in frames.frames if frame.target.exists()]
    if known is not None and known["fingerprint"] == fingerprint and not force:
        return int(known["begun"]), bool(known["replace"])
    if there and not force:
        if known is None:
            what = "and it is not known how they were made"
        else:
            what = "made with another LUT or other settings"
        raise LutbenchError(
            f"{len(there)} of {len(frames.frames)} frames exist, {what}",
            where=frames.target,
            accepted="force=True to render all again, or another output",
        )
    begun = 0
    if there:
        write_text(record, "", force=True)
        begun = record.stat().st_mtime_ns
    data = {
        "schema": RECORD_SCHEMA,
        "fingerprint": fingerprint,
        "begun": begun,
        "replace": bool(there),
    }
    write_text(record, json.dumps(data) + "\n", force=True)
    return begun, bool(there)


def _read_record(record: Path) -> dict[str, Any] | None:
    try:
        data = json.loads(record.read_text("utf-8"))
    except (OSError, ValueError):
        return None
    wanted = {"schema": int, "fingerprint": str, "begun": int, "replace": bool}
    fine = isinstance(data, dict) and all(
        isinstance(data.get(key), kind) for key, kind in wanted.items()
    )
    return data if fine and data["schema"] == RECORD_SCHEMA else None


def _made_at(target: Path) -> int | None:
    try:
        return target.stat().st_mtime_ns
    except OSError:
        return None


def _remove_leftovers(frames: FrameList) -> None:
    """Remove temporary files of these frames; since the lock is held, no run is writing them."""
    ours = {(frame.target.stem[:STEM_CHARACTERS], frame.target.suffix) for frame in frames.frames}
    with os.scandir(frames.target) as entries:
        for entry in entries:
            found = TEMPORARY_NAME.match(entry.name)
            if found and (found["stem"], found["suffix"] or "") in ours:
                with suppress(OSError):
                    os.unlink(entry.path)
