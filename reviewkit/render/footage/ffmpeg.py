"""The encoder: finding a suitable ffmpeg and feeding it. The only module that runs another program."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.model.digests import digest_of, file_digest
from reviewkit.model.errors import CannotFinish, Fault, InputError

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes

ENCODER = "libx264"


@dataclass(frozen=True)
class Encoder:
    """An ffmpeg to encode with.

    Attributes
    ----------
    digest
        Identifies this program and version.
    """

    ffmpeg: str
    digest: str


def find_encoder() -> Encoder:
    """Find an ffmpeg with H.264: the one on the path, else the one that imageio-ffmpeg carries.

    Raises
    ------
    InputError
        If there is none.
    """
    lacking = ""
    for ffmpeg in _candidates():
        if _can_encode(ffmpeg):
            return Encoder(ffmpeg, _digest(ffmpeg))
        lacking = lacking or f" with {ENCODER}, which {ffmpeg} doesn't have"
    raise InputError(
        Fault(f"--motion needs ffmpeg{lacking}", 0, "install it, or: pip install 'bench-reviewkit[motion]'")
    )


def _digest(ffmpeg: str) -> str:
    """Return a digest of an encoder's file and of its version text, since its libraries may be separate files."""
    ran = subprocess.run([ffmpeg, "-hide_banner", "-version"], capture_output=True, stdin=subprocess.DEVNULL)
    return digest_of(f"{file_digest(Path(ffmpeg))} {ran.stdout!r}".encode())


def encode(ffmpeg: str, arguments: Sequence[str], pieces: Iterable[Bytes | bytes]) -> None:
    """Run ffmpeg with pieces of data as its standard input.

    Parameters
    ----------
    ffmpeg : str
        Path of the program.
    arguments : sequence of str
        Its arguments.
    pieces : iterable of ndarray or bytes
        The data.

    Raises
    ------
    CannotFinish
        With its last message, if it fails.
    """
    command = [ffmpeg, "-hide_banner", "-loglevel", "error", "-y", *arguments]
    try:
        with tempfile.TemporaryFile() as said:
            status = _run_with_input(command, pieces, said.fileno())
            said.seek(0)
            lines = said.read().decode(errors="replace").split("\n")
    except OSError as error:
        raise CannotFinish(f"ffmpeg: {error.strerror or error}") from error
    if status:
        last = next((line.strip() for line in reversed(lines) if line.strip()), f"ended with status {status}")
        raise CannotFinish(f"ffmpeg: {last}")


def _run_with_input(command: Sequence[str], pieces: Iterable[Bytes | bytes], said: int) -> int:
    """Run a program with pieces of data as its input; return its exit status.

    The program is killed if the pieces can't be produced.
    """
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=said) as process:
        given = False
        try:
            assert process.stdin is not None
            for piece in pieces:
                try:
                    process.stdin.write(piece if isinstance(piece, bytes) else piece.data)
                except OSError:  # it ended early; its status says why
                    break
            with suppress(OSError):
                process.stdin.close()
            given = True
        finally:
            if not given:
                process.kill()
    return process.returncode


def _candidates() -> Iterator[str]:
    on_path = shutil.which("ffmpeg")
    # some systems also search the current folder, which may be a stranger's
    if on_path and Path(on_path).is_absolute():
        yield on_path
    try:
        from imageio_ffmpeg import get_ffmpeg_exe  # type: ignore[import-untyped]
    except ImportError:
        return
    with suppress(RuntimeError):  # the package has none for this machine
        yield str(get_ffmpeg_exe())


def _can_encode(ffmpeg: str) -> bool:
    try:
        ran = subprocess.run([ffmpeg, "-hide_banner", "-encoders"], capture_output=True, stdin=subprocess.DEVNULL)
    except OSError:
        return False
    return ENCODER.encode() in ran.stdout
