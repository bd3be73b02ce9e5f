"""Faults of the system while files are read and written: the old file is whole, or the new one is.

Every fault is caused for real where the machine allows it: a full file system
is a small tmpfs (where root may mount one) or a limit on the size of files, a
killed writer is a process that is killed in the middle of its write.
"""

from __future__ import annotations

import errno
import os
import resource
import signal
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from lutbench import files
from lutbench.errors import LutbenchError
from lutbench.formats.cube import read_cube
from lutbench.formats.cube_write import write_cube
from lutbench.media.still.still import Still, read_still, write_still
from lutbench.tables.lut import Lut3D

BIG = np.random.default_rng(5).integers(0, 256, (256, 512, 3), np.uint8)  # 384 KiB, incompressible


def a_picture(path: Path) -> None:
    write_still(Still(BIG, ("R", "G", "B"), "8"), path, force=True)


def a_lut(path: Path) -> None:
    write_cube(Lut3D.identity(33), path, force=True)


def bytes_alone(path: Path) -> None:
    files.write_bytes(path, BIG.tobytes(), force=True)


WRITERS: list[tuple[str, Callable[[Path], None]]] = [
    ("out.bin", bytes_alone),
    ("out.cube", a_lut),
    ("out.png", a_picture),
    ("out.tif", a_picture),
    ("out.exr", a_picture),
    ("out.dpx", a_picture),
    ("out.jpg", a_picture),
]


# A process that may write nothing cannot write what `coverage` measured of it either.
UNMEASURED = {name: value for name, value in os.environ.items() if "COVERAGE" not in name}


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


# --- a full file system --------------------------------------------------------------------------


@pytest.fixture
def full(tmp_path: Path) -> Iterator[Path]:
    """A file system of 64 KiB."""
    folder = tmp_path / "small"
    folder.mkdir()
    options = ["-t", "tmpfs", "-o", "size=64k", "tmpfs", str(folder)]
    done = subprocess.run(["mount", *options], capture_output=True, check=False)
    if done.returncode:
        pytest.skip("this user may not mount a file system")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.parametrize(("name", "write"), WRITERS)
def test_a_full_file_system_leaves_the_old_file(
    name: str, write: Callable[[Path], None], full: Path
) -> None:
    (full / name).write_bytes(b"old")
    with pytest.raises(LutbenchError) as caught:
        write(full / name)
    assert str(caught.value).startswith(f"{full / name}: cannot write")
    assert ".lutbench-" not in str(caught.value)  # the hidden file tells nobody anything
    assert "\n" not in str(caught.value)
    assert (full / name).read_bytes() == b"old"
    assert names(full) == [name]


@pytest.fixture
def no_more_than_64_kib() -> Iterator[None]:
    """The most that a file of this process may hold; a stand-in for a quota."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    told = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # an error instead of the end
    resource.setrlimit(resource.RLIMIT_FSIZE, (64 << 10, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, told)


# A file in memory, from which a JPEG is copied, counts for this limit, not for a quota of a disk.
@pytest.mark.parametrize(("name", "write"), [each for each in WRITERS if each[0] != "out.jpg"])
def test_a_quota_that_is_reached_leaves_the_old_file(
    name: str, write: Callable[[Path], None], tmp_path: Path, no_more_than_64_kib: None
) -> None:
    (tmp_path / name).write_bytes(b"old")
    with pytest.raises(LutbenchError, match="cannot write") as caught:
        write(tmp_path / name)
    assert "\n" not in str(caught.value)
    assert (tmp_path / name).read_bytes() == b"old"
    assert names(tmp_path) == [name]


def test_the_command_says_it_in_one_line(tmp_path: Path) -> None:
    """A quota around the whole program, which ends with status 2 and no file."""
    program = (
        "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096));"
        "from lutbench.cli.main import main; main()"
    )
    words = "build --source-curve ACEScct --source-gamut ACEScg"
    words += " --target-curve BT.1886 --target-gamut BT.709 -o day.cube"
    done = subprocess.run(
        [sys.executable, "-c", program, *words.split()],
        cwd=tmp_path,
        env=UNMEASURED,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr == "lutbench: day.cube: cannot write: File too large\n"
    assert names(tmp_path) == []


# --- permissions ---------------------------------------------------------------------------------

NOBODY = 65534


def as_somebody_else(program: str, *args: str) -> subprocess.CompletedProcess[str]:
    """Run a program without root's power over permissions."""
    if os.getuid() == 0:
        # What has to be imported may lie where only root can read: imported before.
        program = (
            "import os, lutbench.files, lutbench.formats.cube, lutbench.formats.decimals;"
            f"os.setgid({NOBODY}); os.setuid({NOBODY});" + program
        )
    return subprocess.run(
        [sys.executable, "-c", "import sys;" + program, *args],
        env=UNMEASURED,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def shared(tmp_path: Path) -> Path:
    """A folder that another user can reach."""
    for parent in [tmp_path, *tmp_path.parents]:
        if parent.stat().st_uid == os.getuid() and parent != Path("/"):
            parent.chmod(parent.stat().st_mode | stat.S_IXOTH | stat.S_IROTH)
    return tmp_path


READ = """
from lutbench import files
try:
    files.read_bytes(sys.argv[1], limit=9)
except files.LutbenchError as error:
    print(error)
"""
WRITE = """
from lutbench import files
try:
    files.write_bytes(sys.argv[1], b"new", force=True)
except files.LutbenchError as error:
    print(error)
"""


def test_an_unreadable_file(shared: Path) -> None:
    path = shared / "secret.cube"
    path.write_bytes(b"x")
    path.chmod(0)
    done = as_somebody_else(READ, str(path))
    assert (done.stdout, done.stderr) == (f"{path}: cannot read: Permission denied\n", "")


def test_a_folder_that_may_not_be_written(shared: Path) -> None:
    folder = shared / "fixed"
    folder.mkdir()
    (folder / "old.cube").write_bytes(b"old")
    folder.chmod(0o555)
    for name in ("old.cube", "new.cube"):
        done = as_somebody_else(WRITE, str(folder / name))
        said = f"{folder / name}: cannot write: Permission denied\n"
        assert (done.stdout, done.stderr) == (said, "")
    assert names(folder) == ["old.cube"]
    assert (folder / "old.cube").read_bytes() == b"old"


# --- things that are no files --------------------------------------------------------------------


def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    for name in ("pipe.cube", "pipe.png", "pipe.mov"):
        os.mkfifo(tmp_path / name)
    with pytest.raises(LutbenchError, match="is a pipe or a device; accepted: a file"):
        files.read_bytes(tmp_path / "pipe.cube", limit=9)
    with pytest.raises(LutbenchError, match="is a pipe or a device; accepted: a file"):
        read_still(tmp_path / "pipe.png")
    from lutbench.media.clip.clip import clip_pictures

    with pytest.raises(LutbenchError, match="is a pipe or a device; accepted: a file"):
        clip_pictures(tmp_path / "pipe.mov", 1, 64)


def test_a_device_and_a_file_of_the_kernel(tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match="is a pipe or a device"):
        files.read_bytes("/dev/zero", limit=9)
    with pytest.raises(LutbenchError, match="changed while it was read"):
        files.read_bytes("/proc/self/status", limit=1 << 20)
    with pytest.raises(LutbenchError, match="is a folder"):
        files.read_bytes(tmp_path, limit=9)


def test_a_file_over_the_limit_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "large.cube"
    with open(path, "wb") as file:
        file.truncate(512 * 1024 * 1024 + 1)  # holes: takes no space
    with pytest.raises(LutbenchError, match=r"too large \(536870913 bytes\)"):
        read_cube(path)


# --- a file that changes -------------------------------------------------------------------------


def test_a_file_that_grows_or_shrinks_while_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The size is looked at before; another process writes between the look and the read."""
    path = tmp_path / "busy.cube"
    look = os.fstat
    for change in (b"longer", b""):
        path.write_bytes(b"abc")

        def looked(handle: int, change: bytes = change) -> os.stat_result:
            found = look(handle)
            path.write_bytes(change)
            return found

        with monkeypatch.context() as patch:
            patch.setattr(files.os, "fstat", looked)
            with pytest.raises(LutbenchError, match=r"busy\.cube: the file changed while"):
                files.read_bytes(path, limit=99)


def test_readers_of_a_file_that_is_replaced_see_one_or_the_other(tmp_path: Path) -> None:
    path = tmp_path / "day.bin"
    versions = [bytes([n]) * 200_000 for n in range(2)]
    files.write_bytes(path, versions[0])
    done = threading.Event()

    def write() -> None:
        for n in range(60):
            files.write_bytes(path, versions[n % 2], force=True)
        done.set()

    writer = threading.Thread(target=write)
    writer.start()
    seen = 0
    while not done.is_set() or seen == 0:
        assert files.read_bytes(path, limit=1 << 20) in versions
        seen += 1
    writer.join()
    assert names(tmp_path) == ["day.bin"]


# --- interrupted ---------------------------------------------------------------------------------


def interruptible() -> None:
    """Run in a new process: one started in the background by a script would ignore interrupts."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


SLOW_WRITER = """
import sys, time
from lutbench import files
with files.replacing(sys.argv[1], force=True) as temporary:
    with open(temporary, "wb") as file:
        file.write(b"half of the new")
        file.flush()
        print("begun", flush=True)
        time.sleep(60)
"""


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_writer_that_is_ended_in_the_middle_leaves_the_old_file(
    sent: signal.Signals, tmp_path: Path
) -> None:
    path = tmp_path / "day.cube"
    path.write_bytes(b"old")
    writer = subprocess.Popen(
        [sys.executable, "-c", SLOW_WRITER, str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        preexec_fn=interruptible,
        text=True,
    )
    with writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "begun\n"
        writer.send_signal(sent)
        writer.wait(timeout=60)
    assert path.read_bytes() == b"old"
    left = [name for name in names(tmp_path) if name != "day.cube"]
    if sent == signal.SIGINT:
        assert left == []
    # What cannot be caught leaves its temporary file, hidden and never taken for the result.
    assert all(name.startswith(".day.") and name.endswith(".cube") for name in left)
    files.write_bytes(path, b"new", force=True)
    assert path.read_bytes() == b"new"


def test_a_command_that_is_interrupted_says_so_in_one_line(tmp_path: Path) -> None:
    for index in range(300):
        write_still(
            Still(np.full((90, 160, 3), index % 256, np.uint8), ("R", "G", "B"), "8"),
            tmp_path / f"shot.{index:04d}.tif",
        )
    write_cube(Lut3D.identity(17), tmp_path / "day.cube")
    command = [sys.executable, "-m", "lutbench", "apply", "day.cube", "shot.####.tif", "out/"]
    running = subprocess.Popen(
        command,
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=interruptible,
        text=True,
    )
    with running:
        out = tmp_path / "out"
        for _ in range(3000):
            if out.is_dir() and any(name.endswith(".tif") for name in names(out)):
                break
            time.sleep(0.02)
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=60)
    if running.returncode == 0:
        pytest.skip("the machine was done before it could be interrupted")
    assert running.returncode == 130
    assert said.splitlines()[-1] == "lutbench: interrupted"
    assert "Traceback" not in said
    for name in names(out):
        if not name.startswith("."):
            assert read_still(out / name).width == 160


def test_a_clip_that_is_interrupted_leaves_the_old_one(tmp_path: Path) -> None:
    import av

    with av.open(str(tmp_path / "in.mp4"), "w") as container:
        stream = container.add_stream("libx264", rate=25, options={"preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
        frame = av.VideoFrame.from_ndarray(BIG[:180, :320], format="rgb24")
        for index in range(1500):
            frame.pts = index
            container.mux(stream.encode(frame.reformat(format="yuv420p")))
        container.mux(stream.encode())
    write_cube(Lut3D.identity(17), tmp_path / "day.cube")
    (tmp_path / "out.mov").write_bytes(b"old")
    before = names(tmp_path)
    command = [sys.executable, "-m", "lutbench", "apply", "day.cube", "in.mp4", "out.mov"]
    running = subprocess.Popen(
        [*command, "--force"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=interruptible,
        text=True,
    )
    with running:
        for _ in range(3000):  # until it writes
            if running.poll() is not None or any(
                (tmp_path / name).stat().st_size > 1 << 16
                for name in names(tmp_path)
                if name.startswith(".out")
            ):
                break
            time.sleep(0.02)
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=60)
    assert running.returncode == 130, said  # 1500 frames take far longer than the first
    assert said.splitlines()[-1] == "lutbench: interrupted"
    assert "Traceback" not in said
    assert names(tmp_path) == before
    assert (tmp_path / "out.mov").read_bytes() == b"old"


# --- names ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["", " ", ".", "..", "../x.cube", "a/../../x.cube", "/etc/x.cube", "a\0b", "out/../.."],
)
def test_a_name_that_leads_out_of_the_folder(name: str, tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match="is outside the output folder"):
        files.inside(tmp_path, name)


def test_a_link_that_leads_out_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "link").symlink_to(tmp_path)
    with pytest.raises(LutbenchError, match="is outside the output folder"):
        files.inside(tmp_path / "out", "link/x.cube")


def test_a_null_character_in_a_name(tmp_path: Path) -> None:
    for use in (
        lambda: files.read_bytes("a\0b", limit=1),
        lambda: files.write_bytes("a\0b", b""),
        lambda: files.make_folder(tmp_path / "a\0b"),
    ):
        with pytest.raises(LutbenchError, match="null"):
            use()


def test_the_same_bytes_and_the_usual_permissions(tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        files.write_text(tmp_path / "a.txt", "é\n")
    finally:
        os.umask(mask)
    assert (tmp_path / "a.txt").read_bytes() == "é\n".encode()
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o640
    with pytest.raises(LutbenchError, match="force=True"):
        files.write_text(tmp_path / "a.txt", "b")


def test_another_writer_that_came_first_is_not_replaced(tmp_path: Path) -> None:
    path = tmp_path / "a.cube"
    ours = files.replacing(path)
    ours.__enter__().write_bytes(b"ours")
    path.write_bytes(b"theirs")
    with pytest.raises(LutbenchError, match="the file exists and was"):
        ours.__exit__(None, None, None)
    assert path.read_bytes() == b"theirs"
    assert names(tmp_path) == ["a.cube"]


def test_what_is_flushed_was_opened_for_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows answers EBADF to a flush of a handle that was opened for reading; so does this."""
    fcntl = pytest.importorskip("fcntl", reason="asks how a handle was opened")
    flushed = []

    def fsync(handle: int) -> None:
        if fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
            raise OSError(errno.EBADF, "Bad file descriptor")
        flushed.append(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    files.write_text(tmp_path / "a.cube", "LUT_3D_SIZE 2")
    assert len(flushed) == 1
