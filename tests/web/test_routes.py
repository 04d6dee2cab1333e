"""Every route of the bench with what no browser sends: an answer below 500 whatever comes, by the route table itself and by choices of hypothesis."""

import asyncio
import gc
import random
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.routing import Route

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fuzzing import routes
from straightband.shop import jobs
from straightband.shop.copying import check_shop
from straightband.shop.entries import Run

# The library's own file of a part that was never ended is closed when it is collected.
UNENDED = pytest.mark.filterwarnings("ignore:Unclosed file <tempfile.Spooled:ResourceWarning")
WALKED = 4  # requests made by chance for each route


@pytest.fixture
def bench(shop):
    return routes.app_of(shop)


def awaited(coroutine):
    """Its result, from a thread of its own: a browser driven in this process before has left its event loop running here."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, coroutine).result()


def status_of(bench, scope, body):
    return awaited(routes.answer_of(bench, scope, body, parts=2))


def scope_of(path, *, method="GET", query=b"", **headers):
    told = {"host": routes.HOST, "origin": f"http://{routes.HOST}"} | {name.replace("_", "-"): value for name, value in headers.items()}
    return {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http", "path": path, "raw_path": path.encode(), "query_string": query,
        "root_path": "", "headers": [(name.encode(), value.encode("latin-1")) for name, value in told.items()], "client": ("127.0.0.1", 50000), "server": ("127.0.0.1", 8462),
    }  # fmt: skip


@UNENDED
def test_every_route_answers_whatever_comes(bench, shop):
    """Each route of the table with each number that may stand in it and some hundred requests by chance; the record is whole afterwards."""
    rng, faults = random.Random(5), []  # noqa: S311 - no secret
    for route in (each for each in bench.routes if isinstance(each, Route)):
        for number in routes.NUMBERS:
            path = route.path.replace("{name}", "x")
            while "{" in path:
                path = path[: path.index("{")] + number + path[path.index("}") + 1 :]
            if not path.endswith("/events"):
                status = status_of(bench, scope_of(path, method="POST" if "POST" in route.methods else "GET"), b"")
                faults += [(path[:60], status)] if not 200 <= status < 500 else []
    for _ in range(WALKED * len(bench.routes)):
        scope, body = routes.request_of(routes.Choices(rng.randbytes(200)), bench)
        if not scope["path"].endswith("/events"):
            status = status_of(bench, scope, body)
            faults += [(scope["method"], scope["path"][:60], status)] if not 200 <= status < 500 else []
    gc.collect()
    assert faults == []
    assert check_shop(shop).faults == ()


@UNENDED
def test_a_request_of_any_kind_is_answered(bench):
    """Hypothesis chooses route, method, headers, fields, files and how they are cut up: no answer from 500 up, no exception."""

    @settings(max_examples=60)
    @given(data=st.binary(min_size=40, max_size=200))
    def answered(data):
        scope, body = routes.request_of(routes.Choices(data), bench)
        if not scope["path"].endswith("/events"):
            assert 200 <= status_of(bench, scope, body) < 500

    answered()
    gc.collect()


@pytest.mark.parametrize("number", ["9223372036854775808", "9" * 5000], ids=["beyond the database", "beyond Python"])
def test_a_number_too_long_to_name_anything_is_not_there(client, number):
    """An address with an endless number leads nowhere, as any other that names nothing; both once ended in a fault of ours."""
    assert client.get(f"/orders/{number}").status_code == 404
    assert client.post(f"/telephones/{number}/forget", data={}).status_code == 404


@pytest.mark.parametrize("charset", ["undefined", "unicode_escape", "punycode", "\x00"])
def test_forms_are_taken_in_utf_8_only(bench, charset):
    """A form that names another coding is refused before it is read: some of them decode to what no database takes."""
    kind = f"multipart/form-data; boundary=b; charset={charset}"
    body = b'--b\r\nContent-Disposition: form-data; name="name"\r\n\r\n\\ud800\r\n--b--\r\n'
    assert status_of(bench, scope_of("/shop", method="POST", content_type=kind), body) == 415


def test_digits_of_other_scripts_are_no_length(bench):
    """A superscript two as the announced length is refused as too large to take, not converted."""
    assert status_of(bench, scope_of("/shop", method="POST", content_length="\xb2"), b"") == 413


def test_naming_what_is_not_there_enters_nothing(client, shop):
    """A run with an abrasive that the record does not have is answered in a sentence, and is not entered."""
    told = {"work": "grinding", "minutes": "5min", "abrasive": "77"}
    answer = client.post("/pieces/1/run", data=told)
    assert answer.status_code == 404
    assert "This names something that is not in the record" in answer.text
    with shop.record() as record:
        assert record.count(Run) == 0


@pytest.mark.parametrize(
    "referer", ["http://[", "//evil.example//evil.example/x", "http://a//evil.example/x", "https://evil.example/orders?a=1"]
)
def test_the_switch_of_units_leads_back_to_the_bench_only(client, referer):
    """Wherever the address says that it comes from, the way back lies on the bench itself."""
    location = client.post("/units", data={"units": "in"}, headers={"Referer": referer}).headers["location"]
    assert location.startswith("/")
    assert not location.startswith("//")


def test_work_that_is_not_there_has_no_stream(client):
    """Asking for the progress of work that was never asked for is answered with 404, not with a stream that breaks."""
    assert client.get("/work/99/events").status_code == 404


def test_a_photograph_half_sent_is_not_entered(bench, shop):
    """A telephone that goes away in the middle of a photograph leaves nothing behind: neither an entry nor a job, nor a file."""
    before = sorted(shop.photos.names())
    body = b'--b\r\nContent-Disposition: form-data; name="photograph"; filename="a.jpg"\r\n\r\n' + b"\xff\xd8" * 1000
    scope = scope_of("/pieces/1/photograph", method="POST", content_type="multipart/form-data; boundary=b", content_length="100000")
    told = [{"type": "http.request", "body": body, "more_body": True}]

    async def receive():
        return told.pop(0) if told else {"type": "http.disconnect"}

    async def send(_message):
        pass

    awaited(bench(scope, receive, send))
    assert sorted(shop.photos.names()) == before
    with shop.record() as record:
        assert jobs.not_over(record) == ()
