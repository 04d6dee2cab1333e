"""From a request to a page: how what was sent is read, and how a refusal is answered, the same for every page."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.convertors import IntegerConvertor, register_url_convertor
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from straightband.errors import StraightbandError
from straightband.shop.incoming import forget_incoming
from straightband.shop.record import NotInRecord
from straightband.web.delivery import Delivery, Outcome, received
from straightband.web.desk import Ask, Desk, Sent
from straightband.web.frame import Page, response
from straightband.web.guard import is_loopback
from straightband.web.pages.refused import refused_page
from straightband.web.sent import sent_with
from straightband.workflows.shown import sentence_shown

# Pages are made one after the other: each look into the record gives other threads the interpreter and then waits to have it back, so that several at
# once take many times as long as in turn (measured by `benchmarks.run load`: 400 ms instead of 20 for the slowest in a hundred).
_IN_TURN = threading.Lock()
UNITS = ("mm", "in")
Show = Callable[[Ask], Page]
Take = Callable[[Ask], str]
Answer = Callable[[Ask], Response]


class _EntryNumber(IntegerConvertor):
    """Numbers in addresses: no longer than a database takes, since anything longer names nothing."""

    regex = "[0-9]{1,15}"


register_url_convertor("int", _EntryNumber())


def desk_of(request: Request) -> Desk:
    """The bench that the request came to."""
    return request.app.state.desk


def ask_of(
    request: Request, *, texts: Mapping[str, str] | None = None, files: Mapping[str, tuple[Sent, ...]] | None = None, error: str = ""
) -> Ask:
    """The request, read."""
    units = request.cookies.get("units", "mm")
    return Ask(
        desk=desk_of(request),
        numbers={key: int(value) for key, value in request.path_params.items()},
        query=dict(request.query_params),
        texts=texts or {},
        files=files or {},
        units=units if units in UNITS else "mm",
        local=is_loopback(request.client.host if request.client else ""),
        error=error,
    )


def shows(path: str, show: Show) -> Route:
    """A page that is only looked at."""

    async def get(request: Request) -> Response:
        return await _page(request, show)

    return Route(path, get, methods=["GET"])


def gives(path: str, answer: Answer) -> Route:
    """Something that is no page: a picture, a file, a map."""

    async def get(request: Request) -> Response:
        ask = ask_of(request)
        try:
            return await run_in_threadpool(answer, ask)
        except StraightbandError as refusal:
            return _refused(ask, refusal, request=request)

    return Route(path, get, methods=["GET"])


def takes(path: str, take: Take, *, show: Show) -> Route:
    """A form: sent, it leads on (303); refused, its page comes back with the sentence beside it (422) and what was typed still in it."""

    async def post(request: Request) -> Response:
        texts, files = await sent_with(request)
        ask = ask_of(request, texts=texts, files=files)
        try:
            return RedirectResponse(await run_in_threadpool(take, ask), 303)
        except StraightbandError as refusal:
            return await _form_refused(request, refusal, show=show, texts=texts)

    return Route(path, post, methods=["POST"])


def takes_file(path: str, kind: str, *, show: Show) -> Route:
    """A form with a file, answered in the same way; it is read and entered elsewhere (`taken.py`)."""

    async def post(request: Request) -> Response:
        try:
            outcome = await _handed_over(request, kind)
        except StraightbandError as refusal:
            return await _form_refused(request, refusal, show=show, texts={})
        if outcome.leads_to:
            return RedirectResponse(outcome.leads_to, 303)
        if outcome.status:
            raise HTTPException(outcome.status, outcome.words)
        return await _form_refused(request, outcome.refusal, show=show, texts=outcome.texts)

    return Route(path, post, methods=["POST"])


async def _handed_over(request: Request, kind: str) -> Outcome:
    ask = ask_of(request)
    place = await received(request, ask.shop.folder)
    try:
        delivery = Delivery(
            kind=kind,
            place=str(place),
            content_type=request.headers.get("content-type", ""),
            numbers=ask.numbers,
            units=ask.units,
            now=ask.desk.now(),
        )
        return await request.app.state.take(delivery)
    finally:
        await run_in_threadpool(forget_incoming, place)


async def _form_refused(request: Request, refusal: StraightbandError, *, show: Show, texts: Mapping[str, str]) -> Response:
    if isinstance(refusal, NotInRecord):
        return _refused(ask_of(request), refusal, request=request)
    if _wants_json(request):
        return JSONResponse(error_json(refusal), status_code=422)
    return await _page(request, show, ask=ask_of(request, texts=texts, error=_sentence(refusal)), status=422)


async def _page(request: Request, show: Show, *, ask: Ask | None = None, status: int = 200) -> Response:
    asked = ask or ask_of(request)

    def made() -> Response:
        with _IN_TURN:
            return response(asked, show(asked), status=status)

    try:
        return await run_in_threadpool(made)
    except StraightbandError as refusal:
        return _refused(asked, refusal, request=request)


def _refused(ask: Ask, refusal: StraightbandError, *, request: Request) -> Response:
    status = 404 if isinstance(refusal, NotInRecord) else 422
    if _wants_json(request):
        return JSONResponse(error_json(refusal), status_code=status)
    return response(ask, refused_page(_sentence(refusal)), status=status)


def error_json(refusal: StraightbandError) -> dict[str, Any]:
    """The one shape of every error: what was found, what is needed, what to do, and the whole sentence."""
    return {"error": {"found": refusal.found, "needed": refusal.needed, "remedy": refusal.remedy, "sentence": _sentence(refusal)}}


def _sentence(refusal: StraightbandError) -> str:
    return sentence_shown(str(refusal))


def _wants_json(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


async def not_there(request: Request, fault: Exception) -> Response:
    """An address that leads nowhere, or a method it does not take."""
    status = fault.status_code if isinstance(fault, HTTPException) else 404
    words = "There is no such page on the bench." if status == 404 else "The bench can't do that here."
    return await run_in_threadpool(response, ask_of_nothing(request), refused_page(words), status=status)


async def gone(_request: Request, _fault: Exception) -> Response:
    """Whoever sent this went away before all of it had come; nothing was entered, and nobody hears the answer."""
    return Response(status_code=400)


async def at_fault(request: Request, fault: Exception) -> Response:
    """A fault of ours, without a traceback for the person at the bench."""
    words = f"The program failed on this ({type(fault).__name__}); nothing was entered by it; report it as a fault."
    return await run_in_threadpool(response, ask_of_nothing(request), refused_page(words), status=500)


def ask_of_nothing(request: Request) -> Ask:
    """The request without the numbers of an address that is none."""
    return Ask(desk=desk_of(request))


def _here(address: str) -> str:
    """Path and query of an address, on this bench whatever host it names."""
    try:
        parts = urlsplit(address)
    except ValueError:
        return "/"
    # Two slashes at the beginning would name another host.
    return f"/{parts.path.lstrip('/')}{'?' + parts.query if parts.query else ''}"


async def switch_units(request: Request) -> Response:
    """Show lengths in the other unit from now on, on this screen; and go back to where it was asked."""
    texts, _ = await sent_with(request)
    answer = RedirectResponse(_here(request.headers.get("referer", "/")), 303)
    units = texts.get("units", "mm")
    answer.set_cookie("units", units if units in UNITS else "mm", max_age=365 * 86400, samesite="strict", httponly=True)
    return answer
