"""Who is answered by the desk's server, and what is never given out: hosts, tokens, methods, paths, pages, the slow.

Requests are written byte by byte, as no library would send them. Rules of HTTP are those of RFC 9110 and RFC 9112, of
what browsers tell of a request those of the Fetch standard and Fetch Metadata (all from memory).
"""

from __future__ import annotations

import os
import socket
import time
from contextlib import closing, suppress

import pytest

starlette = pytest.importorskip("starlette", reason="needs starlette: pip install -e '.[test]'")
from reviewkit.commands.desk import guard  # noqa: E402
from reviewkit.commands.desk import server as live_server  # noqa: E402
from reviewkit.commands.desk.inputs import Conflict  # noqa: E402
from reviewkit.commands.desk.server import LiveServer, Served  # noqa: E402
from reviewkit.model.errors import Fault, InputError  # noqa: E402

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
    with LiveServer(answering(served)) as serving:
        yield serving


def answering(folder, **more):
    return Served(lambda base: ("the page", "default-src 'none'"), {"out": (folder, CLOSED)}, **more)


def opened(server):
    return closing(socket.create_connection(("127.0.0.1", server.port), timeout=5))


def asked(server, request):
    """The answer to a request, to the last byte: status, head, body."""
    with opened(server) as line:
        line.sendall(request if isinstance(request, bytes) else request.encode("latin-1"))
        answer = b"".join(iter(lambda: line.recv(65536), b""))
    head, _, body = answer.partition(b"\r\n\r\n")
    return int(head.split()[1]), head.decode("latin-1"), body


def got(server, path, method="GET", *fields, body=b""):
    """The answer to a request at a path below the token."""
    lines = (f"Host: 127.0.0.1:{server.port}", *fields, *([f"Content-Length: {len(body)}"] if body else []))
    head = "".join(f"{field}\r\n" for field in lines)
    return asked(server, f"{method} {below(server, path)} HTTP/1.1\r\n{head}\r\n".encode("latin-1") + body)


def below(server, path):
    return f"/{server.token}{path}" if path.startswith("/") else path


def own(server):
    return f"Origin: http://127.0.0.1:{server.port}"


def test_page_and_files_are_served(server):
    assert got(server, "/")[::2] == (200, b"the page")
    assert got(server, "/out/cards/01-a.png?v=12")[2] == b"a picture"
    assert got(server, "/out/cards/01-a.png", "HEAD")[::2] == (200, b"")
    assert got(server, "/out/inside.png")[2] == b"a picture"
    assert got(server, "/out/cards/%30%31-a.png")[2] == b"a picture"
    assert got(server, "/", "HEAD")[::2] == (200, b"")
    assert got(server, "/events", "HEAD")[::2] == (200, b"")


GUARDS = {
    "cross-origin-opener-policy: same-origin",
    "cross-origin-resource-policy: same-origin",
    "x-content-type-options: nosniff",
    "referrer-policy: no-referrer",
    "cache-control: no-store",
}
EVERY_ANSWER = {
    "page": ("/", "GET", 200),
    "file": ("/out/episode.html", "GET", 200),
    "events": ("/events", "HEAD", 200),
    "no file": ("/out/none", "GET", 404),
    "a path that climbs": ("/out/../x", "GET", 400),
    "a method": ("/", "POST", 405),
    "a word that is no method": ("/", "BREW", 405),
}


@pytest.mark.parametrize("answer", EVERY_ANSWER)
def test_every_answer_keeps_other_pages_out(server, answer):
    path, method, status = EVERY_ANSWER[answer]
    told, head, _ = got(server, path, method, f"Origin: http://127.0.0.1:{server.port}")
    assert told == status
    lines = head.lower().split("\r\n")
    assert set(lines) >= GUARDS
    (policy,) = [line for line in lines if line.startswith("content-security-policy: ")]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "access-control" not in head.lower()
    assert "server:" not in head.lower()


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


def test_other_hosts_are_refused(server):
    for path in ["/", "/events", "/out/episode.html"]:
        for host in HOSTS:
            # a foreign name that is pointed to this machine comes with that name as Host (RFC 9110, section 7.2)
            here = "local" + "host"
            fields = f"{host.format(port=server.port, local=here, LOCAL=here.upper())}\r\n" if host else ""
            status, _, body = asked(server, f"GET {below(server, path)} HTTP/1.1\r\n{fields}\r\n")
            # without a Host, or with two, it is no request (RFC 9112, section 3.2)
            assert status in (400, 403), (host, path)
            assert b"page" not in body.replace(b"the page of", b""), (host, path)


@pytest.mark.parametrize("host", ["Host: 127.0.0.1:{port}", "HOST:127.0.0.1:{port}  ", "host: \t127.0.0.1:{port}"])
def test_its_own_name_is_answered_however_it_is_spaced(server, host):
    assert (
        asked(server, f"GET {below(server, '/')} HTTP/1.1\r\n{host.format(port=server.port)}\r\n\r\n")[2] == b"the page"
    )


def test_it_listens_on_loopback_alone(server):
    assert server._socket.getsockname()[0] == "127.0.0.1"


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
    assert b"page" not in body.replace(b"the request comes from another page", b"")
    assert "event-stream" not in head


@pytest.mark.parametrize("site", ["same-origin", "none"])
def test_its_own_page_is_answered(server, site):
    fields = (f"Sec-Fetch-Site: {site}", f"Origin: http://127.0.0.1:{server.port}")
    assert got(server, "/", "GET", *fields)[2] == b"the page"


# ------------------------------------------------------------------ methods


METHODS = ("POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT")


def test_methods_that_change_something_are_refused(server, served):
    for path in ["/", "/events", "/out/episode.html"]:
        for method in [*METHODS, "BREW", "get", "PROPFIND", "__class__"]:
            status, head, body = got(server, path, method, own(server), body=b"abc")
            assert status == 405, (method, path)  # RFC 9110, section 15.5.6
            assert "allow: get, head" in head.lower(), (method, path)
            assert b"page" not in body, (method, path)
            assert (served / "episode.html").read_text(encoding="utf-8") == "a page", (method, path)


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


def test_nothing_is_served_but_what_is_in_the_folder(server):
    for path in PATHS:
        status, head, body = got(server, path.format(port=server.port))
        assert status in (400, 404), path
        assert b"secret" not in body, path
        assert b"the page" not in body, path
        assert "Set-Cookie" not in head, path


@pytest.mark.parametrize("length", [2000, 60_000, 70_000, 1_000_000])
@pytest.mark.parametrize("path", ["/out/{}", "/{}", "/out/episode.html?{}", "/out/{}/episode.html"])
def test_a_very_long_path_is_answered_or_refused(server, length, path):
    try:
        status, _, body = got(server, path.format("a" * length))
    except (ConnectionError, IndexError):  # it does not read to the end of what it will not answer
        status, body = 414, b""
    assert status in ((200, 404) if length < 65_000 else (200, 400, 404, 414))
    assert b"secret" not in body
    assert got(server, "/")[2] == b"the page"


def test_a_folder_that_is_a_link_serves_nothing(served, tmp_path):
    (tmp_path / "out").symlink_to(served)
    with LiveServer(answering(tmp_path / "out")) as server:
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
    monkeypatch.setattr(guard, "_LONGEST_REQUEST_S", 0.4)
    with (
        LiveServer(answering(served)) as server,
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


def test_a_hundred_silent_connections_keep_nobody_from_being_answered(server):
    silent = [opened(server) for _ in range(guard.MOST_AT_ONCE)]
    try:
        assert got(server, "/")[2] == b"the page"
    finally:
        for line in silent:
            line.thing.close()


def test_a_hundred_listeners_keep_nobody_from_being_answered(server):
    request = f"GET {below(server, '/events')} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode()
    listening = [opened(server) for _ in range(100)]
    try:
        statuses = []
        for line in listening:
            line.thing.sendall(request)
            statuses.append(line.thing.recv(12).split()[1])
        assert statuses.count(b"200") == live_server._MOST_STREAMS
        assert statuses.count(b"503") == 100 - live_server._MOST_STREAMS
        assert got(server, "/")[2] == b"the page"
    finally:
        for line in listening:
            line.thing.close()
    until = time.monotonic() + 20
    while server._streams.open and time.monotonic() < until:  # who is gone makes room
        server.show({})
        time.sleep(0.05)
    assert server._streams.open == 0


# ------------------------------------------------------------------ the stream of events


def test_who_listens_is_told_the_latest_at_once_and_each_that_comes(tmp_path):
    with LiveServer(answering(tmp_path)) as server:
        listened(server)


def listened(server):
    server.show({"build": 1, "cards": ["a"]})
    with opened(server) as line:
        line.sendall(f"GET {below(server, '/events')} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode())
        stream = line.makefile("rb")
        data = (row for row in stream if row.startswith(b"data"))
        assert next(data) == b'data: {"build": 1, "cards": ["a"]}\n'
        server.show({"build": 2, "cards": ["\n\ndata: x"]})
        assert next(data) == b'data: {"build": 2, "cards": ["\\n\\ndata: x"]}\n'


# ------------------------------------------------------------------ the token


@pytest.mark.parametrize(
    "path",
    ["/", "/events", "/out/episode.html", "/x", "//", "/{wrong}/", "/{half}/", "/{token}x/", "/ {token}/", "/\u00e9/"],
)
def test_without_the_token_of_the_address_there_is_nothing(server, path):
    token = server.token
    path = path.format(token=token, wrong="a" * len(token), half=token[: len(token) // 2])
    status, head, body = asked(server, f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n")
    assert status in (400, 404)
    assert b"the page" not in body
    assert token not in head + body.decode()


def test_every_server_has_a_token_of_its_own_that_nobody_guesses(served):
    with LiveServer(answering(served)) as one, LiveServer(answering(served)) as other:
        assert one.token != other.token
        assert min(len(one.token), len(other.token)) >= 32  # 24 bytes: 192 bits


# ------------------------------------------------------------------ what changes something


@pytest.fixture(scope="module")
def desk(served, tmp_path_factory):
    """A server with actions: what they were given is kept."""
    given, place = [], tmp_path_factory.mktemp("incoming")

    def fail(words):
        raise InputError(Fault("notes.txt", 3, "is wrong"))

    def differ(words):
        raise Conflict({"now": "other"})

    actions = {"note": lambda words: given.append(words) or {"done": 1}, "fail": fail, "differ": differ}
    with LiveServer(
        answering(
            served,
            actions=actions,
            receive=lambda query, file: given.append((query["name"], file.read_bytes())) or {},
            aside=place,
        )
    ) as serving:
        serving.given, serving.place = given, place
        yield serving


JSON = "Content-Type: application/json"


def test_an_action_is_done_and_answered(desk):
    assert got(desk, "/do/note", "POST", own(desk), JSON, body=b'{"words": "x"}')[::2] == (200, b'{"done":1}')
    assert desk.given.pop() == {"words": "x"}
    assert got(desk, "/do/fail", "POST", own(desk), JSON, body=b"{}")[::2] == (
        422,
        b'{"faults":["notes.txt:3: is wrong"]}',
    )
    assert got(desk, "/do/differ", "POST", own(desk), JSON, body=b"{}")[::2] == (409, b'{"now":"other"}')


NOT_DONE = {
    "no origin": ((JSON,), b"{}", 403),
    "another page": (("Origin: http://example.org", JSON), b"{}", 403),
    "another port": (("Origin: http://127.0.0.1:1", JSON), b"{}", 403),
    "a sandboxed page": (("Origin: null", JSON), b"{}", 403),
    "a link": (("Origin: {own}", JSON, "Sec-Fetch-Site: none"), b"{}", 403),
    "another site": (("Origin: {own}", JSON, "Sec-Fetch-Site: cross-site"), b"{}", 403),
    "a plain form": (("Origin: {own}", "Content-Type: text/plain"), b"{}", 415),
    "an encoded form": (("Origin: {own}", "Content-Type: application/x-www-form-urlencoded"), b"{}", 415),
    "no JSON": (("Origin: {own}", JSON), b"{", 400),
    "a list": (("Origin: {own}", JSON), b"[]", 400),
    "brackets": (("Origin: {own}", JSON), b"[" * 100_000, 400),
    "too much": (("Origin: {own}", JSON), b'"' + b"x" * 300_000 + b'"', 413),
}


@pytest.mark.parametrize("name", NOT_DONE)
def test_nothing_is_done_for_anything_but_the_page(desk, name):
    fields, body, status = NOT_DONE[name]
    fields = [field.replace("{own}", f"http://127.0.0.1:{desk.port}") for field in fields]
    try:
        assert got(desk, "/do/note", "POST", *fields, body=body)[0] == status
    except (ConnectionError, IndexError):  # it does not read to the end of what it will not answer
        assert status == 413
    assert desk.given == []


def test_an_action_that_is_none_and_a_server_without_actions(desk, server):
    assert got(desk, "/do/other", "POST", own(desk), JSON, body=b"{}")[0] == 404
    assert got(server, "/do/note", "POST", own(server), JSON, body=b"{}")[0] == 404
    assert got(server, "/drop?name=x", "POST", own(server), body=b"x")[0] == 404


def test_a_dropped_file_is_given_over_and_none_stays_behind(desk, monkeypatch):
    assert got(desk, "/drop?name=a%20b.csv", "POST", own(desk), body=b"1,2\n")[0] == 200
    assert desk.given.pop() == ("a b.csv", b"1,2\n")
    assert got(desk, "/drop?name=x", "POST", body=b"1")[0] == 403
    monkeypatch.setattr(live_server, "_LARGEST_FILE", 1000)
    with suppress(ConnectionError, IndexError):
        assert got(desk, "/drop?name=x", "POST", own(desk), body=b"1" * 2000)[0] == 413
    assert desk.given == []
    assert list(desk.place.iterdir()) == []


def test_dropped_files_that_never_end_are_bounded_in_number_and_time(desk, monkeypatch):
    monkeypatch.setattr(guard, "_LONGEST_REQUEST_S", 1.0)
    head = f"POST {below(desk, '/drop?name=x')} HTTP/1.1\r\nHost: 127.0.0.1:{desk.port}\r\n{own(desk)}\r\n"
    waiting = [opened(desk) for _ in range(live_server._MOST_UPLOADS)]
    for line in waiting:
        line.thing.sendall(f"{head}Content-Length: 100\r\n\r\n1".encode())
    until = time.monotonic() + 20
    while desk._uploads < live_server._MOST_UPLOADS and time.monotonic() < until:
        time.sleep(0.01)
    assert got(desk, "/drop?name=y", "POST", own(desk), body=b"1")[0] == 503
    assert got(desk, "/")[2] == b"the page"
    while desk._uploads and time.monotonic() < until:
        time.sleep(0.05)
    assert desk._uploads == 0
    for line in waiting:
        assert b" 408 " in line.thing.recv(100)
        line.thing.close()
    assert list(desk.place.iterdir()) == []
