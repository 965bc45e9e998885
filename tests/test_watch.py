"""What watch does on a save, without a browser: only what changed is made, as a build makes it; and who is answered."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from contextlib import closing

import numpy as np
import pytest

from reviewkit import cli
from reviewkit.live_server import LiveServer
from reviewkit.pipeline import Options, build
from reviewkit.rebuild import Bench, Remembering
from reviewkit.remembered import Memory, stamp

SESSION = """
[unit]
maker = "Norrvale"
model = "Forty"

[bench]
load = "8 ohm"
channels = "both"
level_uncertainty = "0.05 dB"

[[rated]]
quantity = "response"
within = "0.5 dB"
band = ["20 Hz", "20 kHz"]

[[measurement]]
file = "measurements/flat.csv"
kind = "response"
drive = "1 W"

[[measurement]]
file = "measurements/bass.csv"
kind = "contour"
against = "flat"
setting = "bass full up"
drive = "1 W"

[[measurement]]
file = "measurements/leak.csv"
kind = "crosstalk"
"""
HZ = np.geomspace(10, 40_000, 60)


def rows(head, *columns):
    cells = ("\n".join(",".join(f"{value:.3f}" for value in row) for row in zip(HZ, *columns, strict=True)),)
    return "\n".join((head, *cells)) + "\n"


def flat(corner_hz):
    level = -10 * np.log10(1 + (HZ / corner_hz) ** 2)
    return rows("Frequency (Hz),Left (dBV),Right (dBV)", level, level)


def files():
    raised = 10 / (1 + (HZ / 300) ** 2)
    return {
        "measurements/flat.csv": flat(70_000),
        "measurements/bass.csv": rows("Frequency (Hz),Left (dBV),Right (dBV)", raised, raised),
        "measurements/leak.csv": rows("Frequency (Hz),L to R (dB),R to L (dB)", 0 * HZ - 60, 0 * HZ - 62),
    }


def outputs(out):
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file() and not path.name.startswith(".")
    }


@pytest.fixture
def bench(session_of):
    """A session that was built once, and how it is saved and built again."""
    made = Bench(session_of(SESSION, files()), Remembering(0))
    shown = []

    def save(name, text):
        place = made.folder.resolve() / name
        place.parent.mkdir(exist_ok=True)
        beside = place.with_name(".beside")
        beside.write_text(text, encoding="utf-8")
        os.replace(beside, place)  # noqa: PTH105
        shown.clear()
        return made.build({place}, shown.append)

    first = made.build(set(), shown.append)
    assert first.faults == ()
    made.save, made.events = save, shown
    return made


def test_a_save_draws_only_what_it_changes_and_leaves_what_a_build_leaves(bench, tmp_path):
    first = outputs(bench.out)
    rebuilt = bench.save("measurements/leak.csv", files()["measurements/leak.csv"].replace("-60.000", "-55.000"))
    now = outputs(bench.out)
    assert rebuilt.cards[:1] == ("leak",)
    assert not {"flat", "bass"} & set(rebuilt.cards)
    assert bench.events[0] == ("leak",)  # shown before the rest is made
    assert {name for name in now if name.startswith("cards/") and now[name] != first[name]} == {
        f"cards/{number:02d}-{card.id}.png"
        for number, card in enumerate(bench.shown.episode.cards, start=1)
        if card.id in rebuilt.cards
    }
    # what another measurement is held against changes that one, too: 20 kHz falls by 10 lg(1 + (20/35)²) = 1.23 dB
    rebuilt = bench.save("measurements/flat.csv", flat(35_000))
    assert {"flat", "bass"} <= set(rebuilt.cards)
    assert "leak" not in rebuilt.cards
    assert [v.verdict for v in bench.shown.episode.verdicts] == ["falls short"]
    build(bench.folder, Options(out=tmp_path / "afresh"))
    assert outputs(bench.out) == outputs(tmp_path / "afresh")


def test_a_broken_file_says_what_is_wrong_and_the_last_outputs_stay(bench):
    first = outputs(bench.out)
    rebuilt = bench.save("measurements/leak.csv", "Frequency (Hz),L to R (dB)\n20,-60\n10,-60\n15,-60\n")
    assert (rebuilt.cards, rebuilt.files) == ((), 0)
    assert [fault.split(":")[:2] for fault in bench.faults] == [["measurements/leak.csv", "3"]]
    assert outputs(bench.out) == first
    rebuilt = bench.save("measurements/leak.csv", files()["measurements/leak.csv"])
    assert (rebuilt.faults, rebuilt.cards) == ((), ())
    assert outputs(bench.out) == first


def test_outputs_that_were_taken_away_are_put_back_and_templates_of_the_sessions_own_count(bench):
    name = next(name for name in outputs(bench.out) if "leak" in name)
    (bench.out / name).unlink()
    (bench.out / "mine.txt").write_text("kept", encoding="utf-8")
    bench.save("templates/description.txt.j2", "My own.\n")
    assert name in outputs(bench.out)
    assert outputs(bench.out)["description.txt"] == b"My own.\n"
    assert outputs(bench.out)["mine.txt"] == b"kept"
    rebuilt = bench.save("templates/description.txt.j2", "{{ nobody_knows }}\n")
    assert "description.txt.j2:1" in rebuilt.faults[0]
    assert outputs(bench.out)["description.txt"] == b"My own.\n"
    bench.save("session.toml", SESSION.split('[[measurement]]\nfile = "measurements/leak')[0])
    (bench.folder / "templates" / "description.txt.j2").unlink()
    bench.build(set(), bench.events.append)
    assert not any("leak" in name for name in outputs(bench.out))


def test_memory_gives_the_same_until_what_it_was_given_changes(tmp_path):
    memory, made = Memory(), []

    def call():
        made.append(len(made))
        if len(made) == 3:
            raise ValueError
        return made[-1]

    assert [memory.once("a", (1, "x"), call) for _ in range(3)] == [0, 0, 0]
    assert memory.once("a", (2, "x"), call) == 1
    with pytest.raises(ValueError):
        memory.once("a", (3, "x"), call)
    assert memory.once("a", (3, "x"), call) == 3
    file = tmp_path / "file"
    assert stamp(file) == ()
    file.write_text("12", encoding="utf-8")
    before = stamp(file)
    assert stamp(file) == before
    os.utime(file, ns=(0, 0))
    assert stamp(file) != before


# ------------------------------------------------------------------ who is answered


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    root = tmp_path_factory.mktemp("served")
    out = root / "session" / "out"
    (out / "cards").mkdir(parents=True)
    (out / "cards" / "01-a.png").write_bytes(b"a picture")
    (out / "episode.html").write_text("a page", encoding="utf-8")
    (out / ".made-by-reviewkit.json").write_text("[]", encoding="utf-8")
    (root / "session" / "session.toml").write_text("secret", encoding="utf-8")
    (out / "linked.txt").symlink_to(root / "session" / "session.toml")
    (out / "up").symlink_to(root / "session")
    (out / "inside.png").symlink_to(out / "cards" / "01-a.png")
    with LiveServer(out, "the page", "default-src 'none'") as serving:
        yield serving


def asked(server, request):
    """The answer to a request, to the last byte: status, head, body."""
    with closing(socket.create_connection(("127.0.0.1", server.port), timeout=5)) as line:
        line.sendall(request.encode("latin-1"))
        answer = b"".join(iter(lambda: line.recv(65536), b""))
    head, _, body = answer.partition(b"\r\n\r\n")
    return int(head.split()[1]), head.decode(), body


def got(server, path, method="GET"):
    return asked(server, f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n")


def test_page_and_files_are_served_with_nothing_that_another_site_could_use(server):
    status, head, body = got(server, "/")
    assert (status, body) == (200, b"the page")
    assert "Content-Security-Policy: default-src 'none'" in head
    assert "Cross-Origin-Resource-Policy: same-origin" in head
    assert "Access-Control" not in head
    assert got(server, "/out/cards/01-a.png?v=12")[2] == b"a picture"
    assert got(server, "/out/cards/01-a.png", "HEAD")[::2] == (200, b"")
    assert got(server, "/out/inside.png")[2] == b"a picture"
    assert "script-src 'unsafe-inline'" in got(server, "/out/episode.html")[1]


HOSTS = (
    "Host: example.org",
    "Host: example.org:{port}",
    "Host: 127.0.0.1",
    "Host: 127.0.0.1:1",
    "Host: 127.0.0.2:{port}",
    "Host: 127.0.0.1:{port}\r\nHost: example.org",
    "Host:",
    "X-Forwarded-Host: 127.0.0.1:{port}",
)
PATHS = """
    /out/../session.toml /out/%2e%2e/session.toml /out/%2E./session.toml /out/..%2fsession.toml /out/..%5csession.toml
    /out/%252e%252e/session.toml /out/cards/../../session.toml /../session.toml /session.toml /out/linked.txt
    /out/up/session.toml /out//etc/hostname //etc/hostname /out/.made-by-reviewkit.json /out/ /out /out/cards
    /out/cards/01-a.png/ /out/%00 /out/%ff /out/C:/x x * http://127.0.0.1/
""".split()


@pytest.mark.parametrize("host", HOSTS)
def test_other_hosts_are_refused(server, host):
    # a foreign name that is pointed to this machine comes with that name as Host (RFC 9110, section 7.2, from memory)
    status, _, body = asked(server, f"GET / HTTP/1.1\r\n{host.format(port=server.port)}\r\n\r\n")
    assert status == 403
    assert b"the page" not in body


def test_it_listens_on_loopback_alone(server):
    assert server._server.socket.getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "BREW"])
def test_methods_that_change_something_are_refused(server, method):
    status, head, _ = got(server, "/", method)
    assert status == (501 if method == "BREW" else 405)  # RFC 9110, sections 15.5.6 and 15.6.2, from memory
    assert status == 501 or "Allow: GET, HEAD" in head


@pytest.mark.parametrize("path", PATHS)
def test_nothing_outside_the_folder_is_served(server, path):
    status, _, body = got(server, path)
    assert status in (400, 404)
    assert b"secret" not in body


def test_who_listens_is_told_the_latest_at_once_and_each_that_comes(tmp_path):
    with LiveServer(tmp_path, "the page", "default-src 'none'") as server:
        listened(server)


def listened(server):
    server.show("another page", "default-src 'none'", {"build": 1, "cards": ["a"]})
    with closing(socket.create_connection(("127.0.0.1", server.port), timeout=5)) as line:
        line.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode())
        stream = line.makefile("rb")
        while stream.readline().strip():
            pass
        assert stream.readline() == b'data: {"build": 1, "cards": ["a"]}\n'
        server.show("a third", "default-src 'none'", {"build": 2, "cards": []})
        assert stream.readline() == b"\n"
        assert stream.readline() == b'data: {"build": 2, "cards": []}\n'
    assert got(server, "/")[2] == b"a third"


# ------------------------------------------------------------------ the command


def test_without_the_library_it_says_how_to_add_it(say, session_of, monkeypatch):
    monkeypatch.setitem(sys.modules, "watchfiles", None)
    said = say("watch", session_of(SESSION))
    assert said.status == cli.WRONG_INPUT
    assert "pip install 'bench-reviewkit[watch]'" in said.err


def test_a_folder_that_is_not_there_and_a_port_that_is_taken(say, session_of, tmp_path, server):
    pytest.importorskip("watchfiles")
    assert say("watch", tmp_path / "none").status == cli.WRONG_INPUT
    said = say("watch", session_of(SESSION, name="other"), "--port", server.port)
    assert (said.status, f"port {server.port}" in said.err) == (cli.UNFINISHED, True)
    assert say("watch", tmp_path, "--port", "http").status == cli.WRONG_INPUT


def test_ctrl_c_ends_it_cleanly_even_within_the_first_build(session_of):
    pytest.importorskip("watchfiles")
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n')
    command = [sys.executable, "-u", "-m", "reviewkit", "watch", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        address = process.stdout.readline()
        process.send_signal(signal.SIGINT)
        rest = process.communicate(timeout=30)
    assert "127.0.0.1:" in address
    assert process.returncode == 0
    assert rest[1] == ""
    assert not list((folder / "out").glob(".incoming*"))
