"""The server, really run on this machine: what it takes in, and from whom."""

import http.client
import socket
import threading
import time
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import pytest
from django.conf import settings as site
from django.contrib.sessions.models import Session

from kits.people.addresses import one_address
from kits.people.models import User
from kits.web.serving.bounds import Bounds
from kits.web.serving.server import make_server
from kits.web.serving.session_keys import SessionStore, bears_own_key

TIGHT = Bounds(
    connections=20, connections_of_one=6, header_bytes=4096, body_bytes=40_000, body_bytes_of_strangers=2000,
    idle_seconds=3, arrival_seconds=1, bytes_a_second=1000, look_every_seconds=1,
)  # fmt: skip
AT_MOST = 15
"""Seconds after which a test gives up on what should have happened."""
RING_BUFFER = b"x" * 1000


def echo(environ, start_response):
    """Say how long the body was; ``/slow`` waits until it is let go, ``/long`` is more than is kept to be fetched."""
    if environ["PATH_INFO"] == "/slow":
        at_work.release()
        assert let_go.wait(AT_MOST)
    if environ["PATH_INFO"] == "/long":
        start_response("200 OK", [("Content-Type", "text/plain"), ("Content-Length", str(40 * 2**20))])
        return (bytes(2**20) for _ in range(40))
    length = len(environ["wsgi.input"].read())
    start_response("200 OK", [("Content-Type", "text/plain"), ("Content-Length", str(len(str(length))))])
    return [str(length).encode()]


let_go = threading.Event()
at_work = threading.Semaphore(0)


@contextmanager
def running(bounds=TIGHT, **more):
    let_go.clear()
    server = make_server(echo, "127.0.0.1:0", bounds=bounds, **more)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server, int(server.effective_listen[0][1])
    finally:
        let_go.set()
        server.close()
        thread.join(AT_MOST)
        assert not thread.is_alive()


@pytest.fixture
def port():
    with running() as (_, port):
        yield port


def connect(port, source="127.0.0.1"):
    return socket.create_connection(("127.0.0.1", port), timeout=AT_MOST, source_address=(source, 0))


def head(method="GET", path="/", **headers):
    lines = [f"{method} {path} HTTP/1.1", "Host: bench", *(f"{name}: {value}" for name, value in headers.items())]
    return "\r\n".join([*lines, "", ""]).encode()


def answer(connection):
    """The status of the next answer, None where the connection was closed instead."""
    try:
        response = http.client.HTTPResponse(connection)
        response.begin()
        response.read()
    except (http.client.HTTPException, OSError):
        return None
    return response.status


def ask(port, source="127.0.0.1", path="/"):
    with closing(connect(port, source)) as connection:
        connection.sendall(head(path=path))
        return answer(connection)


def is_closed(connection, within):
    """Whether the server closes a connection within so many seconds."""
    connection.settimeout(within)
    try:
        return connection.recv(1) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False


@pytest.mark.parametrize("source", ["127.0.0.1", "127.0.0.2"])
def test_stalled_connections_from_one_address_keep_nobody_out(source):
    with running(Bounds(connections=20, connections_of_one=6)) as (_, port):
        stalled = [connect(port) for _ in range(105)]
        for connection in stalled:
            with suppress(ConnectionError):
                connection.sendall(b"POST / HTTP/1.1\r\nHost: be")
        assert [ask(port, source) for _ in range(10)] == [200] * 10
        for connection in stalled:
            connection.close()


def test_one_address_holds_no_more_than_its_share():
    with running() as (server, port):
        others = [connect(port, "127.0.0.2") for _ in range(3)]
        many = [connect(port) for _ in range(12)]
        assert ask(port) == 200
        open_now = [channel.addr[0] for channel in server.map.values() if getattr(channel, "share", None)]
        assert open_now.count("127.0.0.1") <= TIGHT.connections_of_one
        assert open_now.count("127.0.0.2") == 3
        for connection in (*others, *many):
            connection.close()


def test_when_all_are_taken_the_address_with_most_gives_way():
    bounds = Bounds(connections=8, connections_of_one=6)
    with running(bounds) as (_, port):
        held = [connect(port, f"127.0.0.{n}") for n in (2, 3, 4, 4, 4, 4, 4)]
        assert ask(port, "127.0.0.5") == 200
        held += [connect(port, "127.0.0.5"), connect(port, "127.0.0.6")]
        assert ask(port, "127.0.0.7") == 200
        assert not any(is_closed(connection, 0.2) for connection in held[:2])
        for connection in held:
            connection.close()


def test_whoever_has_his_whole_share_at_work_gets_no_more():
    with running(threads=12) as (_, port):
        working = [connect(port) for _ in range(TIGHT.connections_of_one)]
        for connection in working:
            connection.sendall(head(path="/slow"))
            assert at_work.acquire(timeout=AT_MOST)
        # Told so, unless the closing overtakes the answer.
        assert {ask(port) for _ in range(3)} <= {503, None}
        assert ask(port, "127.0.0.2") == 200
        let_go.set()
        assert [answer(connection) for connection in working] == [200] * TIGHT.connections_of_one
        for connection in working:
            connection.close()


@pytest.mark.parametrize(
    "begun",
    [b"", b"GET / HT", head("POST", **{"Content-Length": 1500}), head("POST", **{"Transfer-Encoding": "chunked"})],
    ids=["nothing", "half a head", "no body", "no piece"],
)
def test_request_that_does_not_arrive_is_not_waited_for(port, begun):
    with closing(connect(port)) as connection:
        connection.sendall(begun)
        assert is_closed(connection, AT_MOST)


def test_request_that_drips_in_is_not_waited_for(port):
    with closing(connect(port)) as connection:
        connection.sendall(b"GET / HTTP/1.1\r\nX-Long: ")
        for _ in range(10 * AT_MOST):
            try:
                connection.sendall(b"y")
            except ConnectionError:
                break
            time.sleep(0.1)
        else:
            pytest.fail("the server went on reading")


def test_connection_that_was_used_may_rest_longer_than_one_that_was_not(port):
    with closing(connect(port)) as used:
        used.sendall(head())
        assert answer(used) == 200
        assert not is_closed(used, 2)
        assert is_closed(used, AT_MOST)


def test_answers_that_nobody_fetches_keep_no_thread_for_ever():
    with running(threads=2) as (_, port):
        held = [connect(port) for _ in range(2)]
        for connection in held:
            connection.sendall(head(path="/long"))
        assert ask(port, "127.0.0.2") == 200
        for connection in held:
            connection.close()


def test_slow_but_steady_body_arrives(port):
    cookie = own_cookie_without_database()
    with closing(connect(port)) as connection:
        connection.sendall(head("POST", Cookie=cookie, **{"Content-Length": 5000}))
        for _ in range(5):
            connection.sendall(RING_BUFFER)
            time.sleep(0.5)
        assert answer(connection) == 200


def own_cookie_without_database():
    class Unasked(SessionStore):
        def exists(self, session_key):
            return False

    return f"{site.SESSION_COOKIE_NAME}={Unasked()._get_new_session_key()}"


@pytest.mark.parametrize(
    ("cookie", "length", "status"),
    [
        ("", 1999, 200),
        ("", 2000, 413),
        ("made up", 2000, 413),
        ("own", 2000, 200),
        ("own", 40_000, 413),
    ],
)
def test_long_body_is_refused_by_its_head_alone(port, cookie, length, status):
    cookies = {"": {}, "made up": {"Cookie": f"{site.SESSION_COOKIE_NAME}={'a' * 40}"}}
    headers = cookies.get(cookie) or ({"Cookie": own_cookie_without_database()} if cookie else {})
    with closing(connect(port)) as connection:
        connection.sendall(head("POST", **headers, **{"Content-Length": length}))
        if status == 200:
            connection.sendall(b"x" * length)
        assert answer(connection) == status


def test_body_that_is_to_be_asked_for_is_refused_without_asking(port):
    with closing(connect(port)) as connection:
        connection.sendall(head("POST", **{"Content-Length": 10**9, "Expect": "100-continue"}))
        assert answer(connection) == 413


def test_body_without_a_length_is_read_no_further_than_it_may_be(port):
    with closing(connect(port)) as connection:
        connection.sendall(head("POST", **{"Transfer-Encoding": "chunked"}))
        for _ in range(3):
            connection.sendall(b"3e8\r\n" + RING_BUFFER + b"\r\n")
        assert answer(connection) == 413


def test_long_head_is_refused(port):
    with closing(connect(port)) as connection:
        connection.sendall(head(**{"X-Long": "y" * 5000}))
        assert answer(connection) == 431


def test_proxy_that_is_trusted_shares_with_nobody():
    with running(trusted_proxy="127.0.0.1", trusted_proxy_headers={"x-forwarded-for"}) as (_, port):
        held = [connect(port) for _ in range(TIGHT.connections_of_one + 4)]
        assert not any(is_closed(connection, 0.05) for connection in held)
        for connection in held:
            connection.close()


@pytest.mark.parametrize(
    ("address", "one"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3::4", "2001:db8:1:2::"),
        ("fe80::1%eth0", "fe80::"),
        ("localhost", "localhost"),
    ],
)
def test_one_house_counts_as_one_address(address, one):
    assert one_address(address) == one


def test_session_key_of_this_site_is_known_and_no_other(client, db):
    client.force_login(User.objects.create_user("clerk"))
    key = Session.objects.get().session_key
    assert bears_own_key(f"other=1; {site.SESSION_COOKIE_NAME}={key}")
    assert not bears_own_key(f"{site.SESSION_COOKIE_NAME}={key[:-1]}!")
    assert not bears_own_key(f"{site.SESSION_COOKIE_NAME}={'a' * 32}")
    assert not bears_own_key("")


def test_long_body_of_a_stranger_is_refused_by_the_site_too(client, db):
    answer = client.post("/sign-in/", {"username": "x" * 9000, "password": "y"})
    assert answer.status_code == 413
    assert "Sign in first" in answer.content.decode()
    client.force_login(User.objects.create_user("clerk"))
    assert client.post("/sign-in/", {"username": "x" * 9000, "password": "y"}).status_code != 413
    client.logout()
    assert client.post("/sign-in/", {"username": "x" * 9000, "password": "y"}).status_code == 413


def test_guide_states_what_the_server_takes_in():
    bounds, guide = Bounds(), (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    for says in (
        f"up to {bounds.connections} connections, {bounds.connections_of_one} from one address",
        f"whole within {bounds.arrival_seconds} seconds",
        f"at most {bounds.body_bytes // 2**20} MB, {bounds.body_bytes_of_strangers // 2**10} KB before",
    ):
        assert says in guide, says
