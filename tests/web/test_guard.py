"""Who is let in: names of the bench, origin of forms, pairing by a code that holds once, pace and size."""

import socket

import pytest
from starlette.datastructures import Headers
from starlette.testclient import TestClient

from straightband.errors import BadInput
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.guard import Pace, cookie_in, host_of, is_loopback, same_origin
from straightband.web.pairing import LASTS_S, LETTERS, TRIES, Pairing, code_drawing
from straightband.web.serve import listen

NOW = "2026-03-03T09:41:07Z"
LAN = "http://192.0.2.7:8462"


@pytest.fixture
def pairing():
    return Pairing()


@pytest.fixture
def lan(shop, pairing):
    """The bench opened for telephones."""
    return bench_app(Desk(shop=shop, lan=True, now=lambda: NOW), pairing_code=pairing, addresses=(LAN,))


@pytest.fixture
def telephone(lan):
    """A telephone in the same network."""
    return TestClient(lan, base_url=LAN, client=("192.0.2.50", 4711), follow_redirects=False, headers={"Origin": LAN})


@pytest.fixture
def computer(lan):
    """The computer itself."""
    return TestClient(lan, base_url="http://127.0.0.1:8462", client=("127.0.0.1", 4711), follow_redirects=False)


def test_a_telephone_that_is_not_paired_sees_nothing(telephone):
    """Pages lead to the pairing page, forms and files are refused, and only style and script are given."""
    assert telephone.get("/").headers["location"] == "/pair"
    assert telephone.get("/readings/1/heights").status_code == 303
    assert telephone.post("/orders/new", data={"name": "x"}).status_code == 403
    assert telephone.get("/static/bench.css").status_code == 200
    assert "Hollow Lane" in telephone.get("/pair").text


def test_a_code_pairs_once(telephone, pairing):
    """The right code gives a cookie that scripts can't read and other sites can't use; the second time it holds no more."""
    code = pairing.offer()
    assert telephone.get(f"/pair?code={code}").status_code == 200  # a mere look uses nothing up
    answer = telephone.post("/pair", data={"code": f" {code.lower()} ", "name": "bench telephone"})
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert telephone.get("/").status_code == 200
    telephone.cookies.clear()
    assert telephone.get("/").status_code == 303
    again = telephone.post("/pair", data={"code": code})
    assert again.status_code == 422
    assert "This code does not hold" in again.text


def test_a_telephone_can_be_forgotten(telephone, computer, pairing):
    """The computer lists it and forgets it; then it has to pair again."""
    telephone.post("/pair", data={"code": pairing.offer(), "name": "bench telephone"})
    assert "bench telephone" in computer.get("/telephones").text
    assert computer.post("/telephones/1/forget", data={}, headers={"Origin": "http://127.0.0.1:8462"}).status_code == 303
    assert telephone.get("/").status_code == 303


def test_only_the_computer_shows_the_code(telephone, computer, pairing):
    """The code and its drawing are on the computer's page; a paired telephone can't let in another."""
    assert pairing.offer() in computer.get("/telephones/code").text
    assert "<svg" in computer.get("/telephones/code").text
    telephone.post("/pair", data={"code": pairing.offer()})
    assert telephone.get("/telephones/code").status_code == 404


def test_codes_can_not_be_guessed_by_trying(pairing):
    """After ten tries in ten minutes even the right code is refused; later a new one holds."""
    code = pairing.offer(now=0.0)
    for k in range(TRIES):
        with pytest.raises(BadInput, match="this code does not hold"):
            pairing.redeem("WRONG", now=float(k))
    with pytest.raises(BadInput, match="too many codes were tried"):
        pairing.redeem(code, now=20.0)
    late = 20.0 + LASTS_S + 1.0
    fresh = pairing.offer(now=late)
    assert fresh != code
    assert len(pairing.redeem(fresh, now=late)) >= 43  # 256 bits in base 64


def test_a_code_ends_by_itself(pairing):
    """After ten minutes it holds no more."""
    code = pairing.offer(now=0.0)
    with pytest.raises(BadInput, match="this code does not hold"):
        pairing.redeem(code, now=LASTS_S + 1.0)
    with pytest.raises(BadInput, match="this code does not hold"):
        Pairing().redeem("", now=0.0)


def test_codes_have_no_letters_that_look_alike():
    """No 0, O, 1, I or L: they are read off a screen with wet glasses."""
    assert not set("01OIL") & set(LETTERS)


def test_a_name_that_is_not_ours_is_refused(client):
    """A page that rebinds a name of its own to this computer reaches nothing."""
    for host in ("evil.example", "127.0.0.1.evil.example", ""):
        assert client.get("/", headers={"Host": host}).status_code == 403
    assert client.get("/", headers={"Host": "localhost:8462"}).status_code == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:81", "http://localhost"])
def test_a_form_from_another_page_is_refused(client, origin):
    """Another origin enters nothing, whatever cookies come along."""
    answer = client.post("/shop", data={"form": "lamp", "name": "a", "light": "sodium"}, headers={"Origin": origin})
    assert answer.status_code == 403
    assert "sent from another page" in answer.text


@pytest.mark.parametrize(
    ("headers", "ours"),
    [
        ({"host": "a:1", "origin": "http://a:1"}, True),
        ({"host": "a:1", "referer": "http://a:1/orders"}, True),
        ({"host": "a:1", "referer": "http://a:11/orders"}, False),
        ({"host": "a:1", "origin": "null", "referer": "http://a:1/"}, False),
        ({"host": "a:1"}, False),
    ],
)
def test_same_origin(headers, ours):
    """By Origin, else by Referer; a form with neither is not ours."""
    assert same_origin(Headers(headers)) is ours


def test_browsers_are_told_to_keep_strangers_out(client):
    """No script but our own, no frame around us, no sniffing; and the referrer is not so short that it spoils Origin."""
    headers = client.get("/").headers
    assert "script-src 'self'" in headers["content-security-policy"]
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_too_much_is_refused_whether_it_says_so_or_not(client):
    """By the length it announces, and by counting where it announces none."""
    assert client.post("/orders/new", content=b"x" * 300_000).status_code == 413
    stream = (b"x" * 50_000 for _ in range(10))
    answer = client.post("/orders/new", content=stream, headers={"Content-Type": "application/x-www-form-urlencoded"})
    assert answer.status_code == 413


def test_pace():
    """So many in that time, by address, and then again later."""
    pace = Pace(most=2, within_s=10.0)
    assert [pace.too_fast("a", now=now) for now in (0.0, 1.0, 2.0)] == [False, False, True]
    assert not pace.too_fast("b", now=2.0)
    assert not pace.too_fast("a", now=12.5)


@pytest.mark.parametrize(
    ("header", "host"), [("127.0.0.1:80", "127.0.0.1"), ("[::1]:80", "::1"), ("Localhost", "localhost"), ("::1", "::1"), ("a.b:1", "a.b")]
)
def test_host_of(header, host):
    """Host without port and brackets."""
    assert host_of(header) == host


def test_loopback():
    """Only this computer's own addresses."""
    assert all(is_loopback(each) for each in ("127.0.0.1", "127.9.9.9", "::1", "localhost"))
    assert not any(is_loopback(each) for each in ("192.0.2.1", "", "198.51.100.7", "evil.example"))


def test_cookie():
    """Ours among others; nothing in what is no cookie."""
    assert cookie_in(Headers({"cookie": "units=in; bench=abc"})) == "abc"
    assert cookie_in(Headers({"cookie": "\x00;;="})) == ""


def test_without_lan_only_this_computer_is_listened_to():
    """The socket is bound to loopback, and to all addresses only when asked."""
    with listen(lan=False, port=0) as here, listen(lan=True, port=0) as everywhere:
        assert here.getsockname()[0] == "127.0.0.1"
        assert everywhere.getsockname()[0] == "0.0.0.0"  # noqa: S104 - the meaning of --lan
        with pytest.raises(BadInput, match="is taken"):
            listen(lan=False, port=here.getsockname()[1])


def test_answers_are_not_held_back():
    """Small packets are sent at once on every connection: asyncio asks for that only where the socket names TCP by its number."""
    with listen(lan=False, port=0) as listening:
        assert listening.proto == socket.IPPROTO_TCP


def test_the_drawing_holds_no_style_of_its_own():
    """The pairing code is drawn by attributes, which our own content policy allows."""
    drawing = code_drawing(f"{LAN}/pair?code=ABCDEFGH")
    assert drawing.startswith("<svg")
    assert "style=" not in drawing
