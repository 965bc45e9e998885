"""Who is answered by the server of watch, and what is never given out: hosts, methods, paths, other pages, the slow.

Requests are written byte by byte, as no library would send them. Rules of HTTP are those of RFC 9110 and RFC 9112, of
what browsers tell of a request those of the Fetch standard and Fetch Metadata (all from memory).
"""

from __future__ import annotations

import os
import socket
import time
from contextlib import closing

import pytest

from reviewkit.commands import live_server
from reviewkit.commands.live_server import LiveServer

CLOSED = "default-src 'none'; script-src 'sha256-of-the-prompter'"


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A session's out/ with what a stranger could put there."""
    root = tmp_path_factory.mktemp("served")
    out = root / "session" / "out"
    (out / "cards").mkdir(parents=True)
    (out / "cards" / "01-a.png").write_bytes(b"a picture")
    (out / "episode.html").write_text("a page", encoding="utf-8")
    (out / ".made-by-reviewkit.json").write_text("secret", encoding="utf-8")
    (root / "session" / "session.toml").write_text("secret", encoding="utf-8")
    (root / "outside").mkdir()
    (root / "outside" / "a.txt").write_text("secret", encoding="utf-8")
    (out / "linked.txt").symlink_to(root / "session" / "session.toml")
    (out / "up").symlink_to(root / "session")
    (out / "away").symlink_to(root / "outside")
    (out / "chain").symlink_to("away")
    (out / "itself").symlink_to("itself")
    (out / "inside.png").symlink_to(out / "cards" / "01-a.png")
    (out / "devices").symlink_to("/dev")
    os.mkfifo(out / "pipe")
    return out


@pytest.fixture(scope="module")
def server(served):
    with LiveServer(served, "the page", "default-src 'none'", CLOSED) as serving:
        yield serving


def opened(server):
    return closing(socket.create_connection(("127.0.0.1", server.port), timeout=5))


def asked(server, request):
    """The answer to a request, to the last byte: status, head, body."""
    with opened(server) as line:
        line.sendall(request if isinstance(request, bytes) else request.encode("latin-1"))
        answer = b"".join(iter(lambda: line.recv(65536), b""))
    head, _, body = answer.partition(b"\r\n\r\n")
    return int(head.split()[1]), head.decode("latin-1"), body


def got(server, path, method="GET", *fields):
    head = "".join(f"{field}\r\n" for field in (f"Host: 127.0.0.1:{server.port}", *fields))
    return asked(server, f"{method} {path} HTTP/1.1\r\n{head}\r\n")


def test_page_and_files_are_served(server):
    assert got(server, "/")[::2] == (200, b"the page")
    assert got(server, "/out/cards/01-a.png?v=12")[2] == b"a picture"
    assert got(server, "/out/cards/01-a.png", "HEAD")[::2] == (200, b"")
    assert got(server, "/out/inside.png")[2] == b"a picture"
    assert got(server, "/out/cards/%30%31-a.png")[2] == b"a picture"
    assert got(server, "/", "HEAD")[::2] == (200, b"")
    assert got(server, "/events", "HEAD")[::2] == (200, b"")


GUARDS = {
    "Cross-Origin-Resource-Policy: same-origin",
    "X-Content-Type-Options: nosniff",
    "Referrer-Policy: no-referrer",
    "Cache-Control: no-store",
}
EVERY_ANSWER = {
    "page": ("/", "GET", 200),
    "file": ("/out/episode.html", "GET", 200),
    "events": ("/events", "HEAD", 200),
    "no file": ("/out/none", "GET", 404),
    "a path that climbs": ("/out/../x", "GET", 400),
    "a method": ("/", "POST", 405),
    "a word that is no method": ("/", "BREW", 501),
}


@pytest.mark.parametrize("answer", EVERY_ANSWER)
def test_every_answer_keeps_other_pages_out(server, answer):
    path, method, status = EVERY_ANSWER[answer]
    told, head, _ = got(server, path, method, f"Origin: http://127.0.0.1:{server.port}")
    assert told == status
    lines = head.split("\r\n")
    assert set(lines) >= GUARDS
    (policy,) = [line for line in lines if line.startswith("Content-Security-Policy: ")]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "Access-Control" not in head
    assert "Python" not in head


def test_pages_of_the_folder_run_no_script_but_those_that_are_known(server):
    assert "script-src 'sha256-of-the-prompter';" in got(server, "/out/episode.html")[1]
    assert "script-src" not in got(server, "/")[1]


# ------------------------------------------------------------------ hosts


HOSTS = (
    "Host: example.org",
    "Host: example.org:{port}",
    "Host: 127.0.0.1",
    "Host: 127.0.0.1:1",
    "Host: 127.0.0.1:0{port}",
    "Host: 127.0.0.1:{port}0",
    "Host: 127.0.0.1:{port}:{port}",
    "Host: 127.0.0.1.:{port}",
    "Host: 127.0.0.1:{port}.example.org",
    "Host: 127.0.0.1.example.org:{port}",
    "Host: 127.0.0.2:{port}",
    "Host: 127.1:{port}",
    "Host: 2130706433:{port}",
    "Host: 0x7f.0.0.1:{port}",
    "Host: 0.0.0.0:{port}",
    "Host: [::1]:{port}",
    "Host: [::ffff:127.0.0.1]:{port}",
    "Host: {local}:{port}",
    "Host: {LOCAL}:{port}",
    "Host: {local}.:{port}",
    "Host: user@127.0.0.1:{port}",
    "Host: 127.0.0.1:{port}, example.org",
    "Host: 127.0.0.1:{port}/",
    "Host: 127.0.0.1:{port}\r\nHost: example.org",
    "Host: 127.0.0.1:{port}\r\nHost: 127.0.0.1:{port}",
    "Host: 127.0.0.1:{port}\r\n example.org",
    "Host:",
    "",
    "X-Forwarded-Host: 127.0.0.1:{port}",
    "Forwarded: host=127.0.0.1:{port}",
)


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("path", ["/", "/events", "/out/episode.html"])
def test_other_hosts_are_refused(server, host, path):
    # a foreign name that is pointed to this machine comes with that name as Host (RFC 9110, section 7.2)
    here = "local" + "host"
    fields = f"{host.format(port=server.port, local=here, LOCAL=here.upper())}\r\n" if host else ""
    status, _, body = asked(server, f"GET {path} HTTP/1.1\r\n{fields}\r\n")
    assert status == 403
    assert b"page" not in body.replace(b"the page of", b"")


@pytest.mark.parametrize("host", ["Host: 127.0.0.1:{port}", "HOST:127.0.0.1:{port}  ", "host: \t127.0.0.1:{port}"])
def test_its_own_name_is_answered_however_it_is_spaced(server, host):
    assert asked(server, f"GET / HTTP/1.1\r\n{host.format(port=server.port)}\r\n\r\n")[2] == b"the page"


def test_it_listens_on_loopback_alone(server):
    assert server._server.socket.getsockname()[0] == "127.0.0.1"


# ------------------------------------------------------------------ other pages of the same browser


@pytest.mark.parametrize("path", ["/", "/events", "/out/episode.html"])
@pytest.mark.parametrize(
    "fields",
    [
        ("Origin: http://example.org",),
        ("Origin: null",),
        ("Origin: http://127.0.0.1:1",),
        ("Origin: https://127.0.0.1:{port}",),
        ("Origin: http://127.0.0.1:{port}.example.org",),
        ("Origin: http://127.0.0.1:{port}", "Origin: http://example.org"),
        ("Sec-Fetch-Site: cross-site",),
        ("Sec-Fetch-Site: same-site",),  # another program's page on this machine
        ("Sec-Fetch-Site: same-origin", "Sec-Fetch-Site: cross-site"),
        ("Origin: http://127.0.0.1:{port}", "Sec-Fetch-Site: cross-site"),
    ],
    ids=str,
)
def test_no_other_page_listens_or_looks(server, path, fields):
    status, head, body = got(server, path, "GET", *(field.format(port=server.port) for field in fields))
    assert status == 403
    assert b"page" not in body.replace(b"another page asks", b"")
    assert "event-stream" not in head


@pytest.mark.parametrize("site", ["same-origin", "none"])
def test_its_own_page_is_answered(server, site):
    fields = (f"Sec-Fetch-Site: {site}", f"Origin: http://127.0.0.1:{server.port}")
    assert got(server, "/", "GET", *fields)[2] == b"the page"


# ------------------------------------------------------------------ methods


METHODS = ("POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT")


@pytest.mark.parametrize("method", [*METHODS, "BREW", "get", "PROPFIND", "__class__"])
@pytest.mark.parametrize("path", ["/", "/events", "/out/episode.html"])
def test_methods_that_change_something_are_refused(server, served, method, path):
    status, head, body = got(server, path, method, "Content-Length: 3")
    assert status == (405 if method in METHODS else 501)  # RFC 9110, sections 15.5.6 and 15.6.2
    assert "Allow: GET, HEAD" in head
    assert b"page" not in body
    assert (served / "episode.html").read_text(encoding="utf-8") == "a page"


# ------------------------------------------------------------------ paths


PATHS = """
    /out/../session.toml /out/%2e%2e/session.toml /out/%2E./session.toml /out/.%2e/session.toml /out/..%2fsession.toml
    /out/..%5csession.toml /out/..\\session.toml /out\\..\\session.toml /out/%252e%252e/session.toml
    /out/%25252e%25252e/session.toml /out/%252e%252e%252fsession.toml /out/%c0%ae%c0%ae/session.toml
    /out/%u002e%u002e/session.toml /out/cards/../../session.toml /out/cards/..;/..;/session.toml /../session.toml
    /out/./../session.toml /out/cards/./01-a.png /out/.../session.toml /session.toml /%2fetc/hostname
    /out//etc/hostname //etc/hostname /out/%2fetc/hostname ///out///episode.html /out//episode.html
    /out/linked.txt /out/up/session.toml /out/away/a.txt /out/chain/a.txt /out/itself /out/devices/zero /out/pipe
    /out/.made-by-reviewkit.json /out/%2emade-by-reviewkit.json /out/ /out /out/cards /out/cards/
    /out/cards/01-a.png/ /out/cards/01-a.png%00 /out/cards/01-a.png%00.txt /out/%00 /out/%ff /out/% /out/%zz
    /out/episode.html::$DATA /out/C:/x /out/c:%5cx /out/file:/etc/hostname /file:/etc/hostname /out/~ /~root
    /out/%0d%0aSet-Cookie:x /events/ /events/x /EVENTS x * ?/ #/ http://127.0.0.1/ http://127.0.0.1:{port}/
    http://example.org/ https://127.0.0.1:{port}/out/episode.html
""".split()


@pytest.mark.parametrize("path", PATHS)
def test_nothing_is_served_but_what_is_in_the_folder(server, path):
    status, head, body = got(server, path.format(port=server.port))
    assert status in (400, 404)
    assert b"secret" not in body
    assert b"page" not in body
    assert "Set-Cookie" not in head


@pytest.mark.parametrize("length", [2000, 60_000, 70_000, 1_000_000])
@pytest.mark.parametrize("path", ["/out/{}", "/{}", "/out/episode.html?{}", "/out/{}/episode.html"])
def test_a_very_long_path_is_answered_or_refused(server, length, path):
    try:
        status, _, body = got(server, path.format("a" * length))
    except (ConnectionError, IndexError):  # it does not read to the end of what it will not answer
        status, body = 414, b""
    assert status in ((200, 404) if length < 65_000 else (414,))
    assert b"secret" not in body
    assert got(server, "/")[2] == b"the page"


def test_a_folder_that_is_a_link_serves_nothing(served, tmp_path):
    (tmp_path / "out").symlink_to(served)
    with LiveServer(tmp_path / "out", "the page", "default-src 'none'", CLOSED) as server:
        assert got(server, "/")[2] == b"the page"
        assert got(server, "/out/episode.html")[0] == 404


# ------------------------------------------------------------------ requests that are none, too many, too slow


NO_REQUESTS = {
    "nothing": b"\r\n\r\n",
    "one word": b"GET\r\n\r\n",
    "no version": b"GET /\r\n\r\n",
    "another protocol": b"GET / SSH/2.0\r\n\r\n",
    "a version that is none": b"GET / HTTP/x\r\n\r\n",
    "a version to come": b"GET / HTTP/3.0\r\n\r\n",
    "four words": b"GET / HTTP/1.1 x\r\n\r\n",
    "other bytes": bytes(range(256)) + b"\r\n\r\n",
    "TLS": b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
    "fields without end": b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 200 + b"\r\n",
    "a field without end": b"GET / HTTP/1.1\r\nX: " + b"y" * 70_000 + b"\r\n\r\n",
    "a name without end": b"GET / HTTP/1.1\r\n" + b"x" * 70_000 + b"\r\n\r\n",
    "a field that is none": b"GET / HTTP/1.1\r\nHost\r\n\r\n",
    "a second request behind it": b"".join(
        b"GET /%s HTTP/1.1\r\nHost: 127.0.0.1:%%d\r\n\r\n" % path for path in (b"x", b"")
    ),
}


@pytest.mark.parametrize("name", NO_REQUESTS)
def test_what_is_no_request_gets_no_page_and_harms_nobody(server, name, capsys):
    request = NO_REQUESTS[name].replace(b"%d", b"%d" % server.port)
    with opened(server) as line:
        try:
            line.sendall(request)
            line.shutdown(socket.SHUT_WR)
            answer = b"".join(iter(lambda: line.recv(65536), b""))
        except ConnectionError:
            answer = b""
    assert b"the page" not in answer.replace(b"the page of", b"")
    assert b" 200 " not in answer
    assert got(server, "/")[2] == b"the page"
    said = capsys.readouterr()
    assert said.out + said.err == ""


def test_slow_clients_are_ended_and_keep_nobody_from_being_answered(served, monkeypatch):
    monkeypatch.setattr(live_server, "_LONGEST_REQUEST_S", 0.4)
    with (
        LiveServer(served, "the page", "default-src 'none'", CLOSED) as server,
        opened(server) as silent,
        opened(server) as slow,
    ):
        until = time.monotonic() + 20  # a generous limit, for a busy machine
        ended = False
        slow.setblocking(False)
        while not ended and time.monotonic() < until:
            try:
                slow.send(b"G")  # never silent for long, and never done
                ended = slow.recv(1) == b""
            except BlockingIOError:
                time.sleep(0.05)
            except ConnectionError:
                ended = True
        assert ended
        assert silent.recv(100) == b""
        assert got(server, "/")[2] == b"the page"


def test_no_more_are_let_in_than_there_is_room_for_and_who_is_gone_makes_room(served, monkeypatch):
    monkeypatch.setattr(live_server, "_MOST_AT_ONCE", 5)
    with LiveServer(served, "the page", "default-src 'none'", CLOSED) as server:
        waiting = [opened(server) for _ in range(5)]
        with opened(server) as one_more:
            assert one_more.recv(100) == b""
        for line in waiting:
            line.thing.close()
        until = time.monotonic() + 20
        while (body := answered(server)) != b"the page" and time.monotonic() < until:
            time.sleep(0.05)
        assert body == b"the page"


def answered(server):
    try:
        return got(server, "/")[2]
    except (ConnectionError, IndexError):
        return b""


# ------------------------------------------------------------------ the stream of events


def test_who_listens_is_told_the_latest_at_once_and_each_that_comes(tmp_path):
    with LiveServer(tmp_path, "the page", "default-src 'none'", CLOSED) as server:
        listened(server)


def listened(server):
    server.show("another page", "default-src 'none'", {"build": 1, "cards": ["a"]})
    with opened(server) as line:
        line.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode())
        stream = line.makefile("rb")
        while stream.readline().strip():
            pass
        assert stream.readline() == b'data: {"build": 1, "cards": ["a"]}\n'
        server.show("a third", "default-src 'none'", {"build": 2, "cards": ["\n\ndata: x"]})
        assert stream.readline() == b"\n"
        assert stream.readline() == b'data: {"build": 2, "cards": ["\\n\\ndata: x"]}\n'
    assert got(server, "/")[2] == b"a third"
