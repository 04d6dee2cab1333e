"""The bench as one application: which address leads to which page. START READING HERE."""

from __future__ import annotations

import mimetypes
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from straightband.errors import StraightbandError
from straightband.shop import telephones
from straightband.shop.incoming import forget_old
from straightband.shop.kept_open import KeptOpen
from straightband.web.delivery import Delivery, Outcome
from straightband.web.desk import Desk
from straightband.web.events import is_job, job_events
from straightband.web.frame import STATIC, response, static_file
from straightband.web.guard import COOKIE, Guard
from straightband.web.intake import Intake
from straightband.web.pages import (
    backs,
    batches,
    boxes,
    corrections,
    figuring,
    flats,
    orders,
    pads,
    pairing,
    patterns,
    photographs,
    pieces,
    readings,
    shop,
    today,
    verdicts,
    work,
)
from straightband.web.pairing import COOKIE_DAYS, Pairing, code_drawing
from straightband.web.routes import ask_of, at_fault, gives, gone, not_there, shows, switch_units, takes, takes_file
from straightband.web.sent import sent_with
from straightband.web.taken import taken
from straightband.web.worker import Worker
from straightband.workflows.shop_clock import later
from straightband.workflows.shown import sentence_shown

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
PAGES = (
    shows("/", today.today_page),
    takes("/timers/{timer:int}/stop", today.take_stop, show=today.today_page),
    shows("/orders", orders.orders_page),
    shows("/orders/new", orders.new_order_page),
    takes("/orders/new", orders.take_order_form, show=orders.new_order_page),
    gives("/orders/draft", orders.give_draft),
    shows("/orders/{order:int}", orders.order_page),
    takes("/orders/{order:int}", orders.take_piece_of_order, show=orders.order_page),
    shows("/orders/{order:int}/correct", orders.new_order_page),
    takes("/orders/{order:int}/correct", orders.take_order_form, show=orders.new_order_page),
    shows("/pieces", pieces.pieces_page),
    takes("/pieces", pieces.take_piece, show=pieces.pieces_page),
    shows("/pieces/{piece:int}", pieces.piece_page),
    takes("/pieces/{piece:int}/timer", pieces.take_timer, show=pieces.piece_page),
    takes("/pieces/{piece:int}/run", pieces.take_run, show=pieces.piece_page),
    takes("/pieces/{piece:int}/cost", pieces.take_cost, show=pieces.piece_page),
    shows("/pieces/{piece:int}/correct", corrections.piece_correction_page),
    takes("/pieces/{piece:int}/correct", corrections.take_piece_correction, show=corrections.piece_correction_page),
    shows("/runs/{run:int}/correct", corrections.run_correction_page),
    takes("/runs/{run:int}/correct", corrections.take_run_correction, show=corrections.run_correction_page),
    shows("/costs/{cost:int}/correct", corrections.cost_correction_page),
    takes("/costs/{cost:int}/correct", corrections.take_cost_correction, show=corrections.cost_correction_page),
    shows("/pieces/{piece:int}/gauge", pieces.gauge_page),
    takes("/pieces/{piece:int}/gauge", pieces.take_gauging, show=pieces.gauge_page),
    shows("/gaugings/{gauging:int}", pieces.gauging_page),
    shows("/gaugings/{gauging:int}/correct", pieces.correct_gauging_page),
    takes("/gaugings/{gauging:int}/correct", pieces.take_gauging_correction, show=pieces.correct_gauging_page),
    shows("/pieces/{piece:int}/photograph", photographs.send_photograph_page),
    takes_file("/pieces/{piece:int}/photograph", "photograph", show=photographs.send_photograph_page),
    shows("/photographs/{photograph:int}", photographs.photograph_page),
    takes("/photographs/{photograph:int}", photographs.take_reading, show=photographs.photograph_page),
    gives("/photographs/{photograph:int}/picture.jpg", photographs.give_picture),
    shows("/readings/{reading:int}", readings.reading_page),
    takes("/readings/{reading:int}/again", readings.take_again, show=readings.reading_page),
    gives("/readings/{reading:int}/heights", readings.give_heights),
    gives("/readings/{reading:int}/map.png", readings.give_map_png),
    *(gives(f"/readings/{{reading:int}}/map.{kind}", readings.give_map_file(kind)) for kind in ("npz", "x3p", "csv")),
    shows("/verdicts/{verdict:int}", verdicts.verdict_page),
    gives("/verdicts/{verdict:int}/stars.png", verdicts.give_stars),
    takes("/verdicts/{verdict:int}/certificate", verdicts.take_certificate, show=verdicts.verdict_page),
    shows("/certificates/{certificate:int}", verdicts.certificate_page),
    gives("/certificates/{certificate:int}/certificate.pdf", verdicts.give_pdf),
    gives("/certificates/{certificate:int}/piece.toml", verdicts.give_piece_file),
    shows("/batches", batches.batches_page),
    takes("/batches", batches.take_batch, show=batches.batches_page),
    shows("/batches/{batch:int}", batches.batch_page),
    takes("/batches/{batch:int}", batches.take_ticks, show=batches.batch_page),
    gives("/batches/{batch:int}/cards.pdf", batches.give_cards),
    gives("/batches/{batch:int}/sags.png", batches.give_plot),
    shows("/flats", flats.flats_page),
    takes_file("/flats", "flat", show=flats.flats_page),
    takes("/flats/{flat:int}/note", flats.take_note, show=flats.flats_page),
    shows("/flats/tests/new", flats.new_flat_test_page),
    takes("/flats/tests/new", flats.take_flat_test, show=flats.new_flat_test_page),
    shows("/flats/tests/{test:int}", flats.flat_test_page),
    takes("/flats/tests/{test:int}/use", flats.take_use, show=flats.flat_test_page),
    shows("/pieces/{piece:int}/back", backs.back_page),
    takes("/pieces/{piece:int}/back/timer", backs.take_back_timer, show=backs.back_page),
    takes("/pieces/{piece:int}/back/again", backs.take_back_again, show=backs.back_page),
    takes_file("/pieces/{piece:int}/grid", "grid", show=backs.back_page),
    gives("/grids/{grid:int}/picture.jpg", backs.give_grid_picture),
    gives("/clearings/{clearing:int}/clearness.png", backs.give_clearness),
    gives("/grid.pdf", backs.give_grid_sheet),
    shows("/pieces/{piece:int}/figuring", figuring.figuring_page),
    takes("/pieces/{piece:int}/figuring", figuring.take_figuring, show=figuring.figuring_page),
    shows("/strokes/{plan:int}", figuring.strokes_page),
    takes("/strokes/{plan:int}/start", figuring.take_start, show=figuring.strokes_page),
    gives("/strokes/{plan:int}/picture.png", figuring.give_stroke_paper("picture", media_type="image/png")),
    gives("/strokes/{plan:int}/wear.png", figuring.give_stroke_paper("wear", media_type="image/png")),
    gives("/strokes/{plan:int}/card.pdf", figuring.give_stroke_paper("card", media_type="application/pdf")),
    shows("/pads", pads.pads_page),
    takes("/pads", pads.take_pads, show=pads.pads_page),
    shows("/pads/{plate:int}", pads.plate_page),
    gives("/pads/{plate:int}/template.pdf", pads.give_template),
    shows("/box", boxes.box_page),
    gives("/box/drawing.pdf", boxes.give_box_drawing),
    gives("/prices.toml", shop.give_prices),
    shows("/shop", shop.shop_page),
    takes("/shop", shop.take_shelf, show=shop.shop_page),
    shows("/telephones", shop.telephones_page),
    takes("/telephones/{telephone:int}/forget", shop.take_forget, show=shop.telephones_page),
    shows("/work/{job:int}", work.work_page),
    takes("/work/{job:int}/stop", work.take_stop_work, show=work.work_page),
    shows("/patterns", patterns.patterns_page),
    shows("/pair", pairing.pair_page),
)


def bench_app(
    desk: Desk, *, pairing_code: Pairing, addresses: tuple[str, ...] = (), worker: Worker | None = None, intake: Intake | None = None
) -> Starlette:
    """The application for a bench.

    `addresses` are those by which telephones reach it, as `http://192.0.2.7:8000`; `worker` and `intake` are started and ended with it. Without
    `intake` forms with files are read in this process.
    """
    kept = KeptOpen(folder=desk.shop.folder)
    desk = replace(desk, shop=kept)

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        if worker is not None:
            await run_in_threadpool(worker.start)
        await run_in_threadpool(forget_old, desk.shop.folder)
        if intake is not None:
            await intake.start()
        yield
        if intake is not None:
            await intake.close()
        if worker is not None:
            await run_in_threadpool(worker.close)
        kept.close()

    async def knows(cookie: str) -> bool:
        return bool(cookie) and desk.lan and await run_in_threadpool(_is_known, desk, cookie)

    async def here(delivery: Delivery) -> Outcome:
        return await run_in_threadpool(taken, desk.shop, delivery)

    hosts = LOOPBACK_NAMES | {address.partition("//")[2].rpartition(":")[0].strip("[]") for address in addresses}
    app = Starlette(
        routes=[
            *PAGES,
            Route("/units", switch_units, methods=["POST"]),
            Route("/work/{job:int}/events", _events, methods=["GET"]),
            Route("/static/{name}", _static, methods=["GET"]),
            Route("/pair", _pair(pairing_code), methods=["POST"]),
            Route("/telephones/code", _code(pairing_code, addresses), methods=["GET"]),
        ],
        middleware=[Middleware(Guard, hosts=hosts, knows=knows), Middleware(GZipMiddleware, minimum_size=500, compresslevel=5)],
        exception_handlers={404: not_there, 405: not_there, ClientDisconnect: gone, Exception: at_fault},
        lifespan=lifespan,
    )
    app.state.desk = desk
    app.state.take = intake.take if intake is not None else here
    return app


def _is_known(desk: Desk, cookie: str) -> bool:
    with desk.shop.record() as record:
        return telephones.is_known(record, cookie, now=desk.now())


async def _events(request: Request) -> Response:
    shop, number = request.app.state.desk.shop, request.path_params["job"]
    if not await run_in_threadpool(is_job, shop, number):
        return await not_there(request, Exception())
    return job_events(shop, number)


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in STATIC:
        return Response(status_code=404)
    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    return Response(static_file(name), media_type=kind, headers={"Cache-Control": "public, max-age=31536000, immutable"})


def _pair(code: Pairing) -> Callable:
    async def pair(request: Request) -> Response:
        texts, _ = await sent_with(request)
        ask = ask_of(request, texts=texts)
        try:
            cookie = code.redeem(texts.get("code", ""))
        except StraightbandError as refusal:
            again = ask_of(request, texts=texts, error=sentence_shown(str(refusal)))
            return await run_in_threadpool(lambda: response(again, pairing.pair_page(again), status=422))
        await run_in_threadpool(_know, ask.desk, cookie, texts.get("name", "").strip() or "telephone")
        answer = RedirectResponse("/", 303)
        # No "Secure": there is no TLS in the shop, and the browser would not send it back.
        answer.set_cookie(COOKIE, cookie, max_age=COOKIE_DAYS * 86400, httponly=True, samesite="strict")
        return answer

    return pair


def _know(desk: Desk, cookie: str, name: str) -> None:
    now = desk.now()
    with desk.shop.record() as record:
        telephones.know(record, cookie, name=name, now=now, until=later(now, minutes=COOKIE_DAYS * 1440.0))


def _code(code: Pairing, addresses: tuple[str, ...]) -> Callable:
    async def show(request: Request) -> Response:
        ask = ask_of(request)
        # Only the computer itself may show the code: a telephone that is in must not let in another.
        if not ask.local or not addresses:
            return await not_there(request, Exception())
        letters = code.offer()
        page = pairing.CodePage(
            title="Pair a telephone",
            addresses=addresses,
            code=letters,
            drawing=code_drawing(f"{addresses[0]}/pair?code={letters}"),
        )
        return await run_in_threadpool(response, ask, page)

    return show
